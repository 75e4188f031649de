"""Every page is reached by links alone, from the first page on, by somebody whose role may open it."""

import re
from html import unescape

import pytest
from django.urls import URLPattern, get_resolver, resolve
from django.urls.exceptions import Resolver404

from fleet.clock import today_in
from tests import makers

pytestmark = [pytest.mark.django_db, pytest.mark.everyday]
# No pages to be looked at by themselves: what a form posts to, what a script or a device fetches, and pages
# that stand before or after a sign-in.
NOT_PAGES = {
    "sign-in",
    "sign-in-code",
    "sign-out",
    "health",
    "break-glass-seal",
    "notices-read",
    "take-seal",
    "hold-seal",
    "check-record",
    "second-factor-asked",
    "second-person",
    "plan-change",
    "plan-anew",
    "plan-accept",
    "plan-run-on",
    "plan-put-off",
    "deferral-answers",
    "record-queue",
    "record-pack",
    "record-worker",
    "contact-reader",
    "record-offline",
    "dates-anew",
}
# Only where there is a plan in hand.
OF_A_PLAN = {
    "plan-bearing",
    "plan-outage",
    "plan-compare",
    "work-list",
    "plan-sheet",
    "plan-csv",
    "plan-calendar",
}
LINK = re.compile(r'<a\b[^>]*\bhref="([^"#?]+)')


def _without_arguments():
    """Names of the addresses that take no argument."""
    return {
        one.name
        for one in get_resolver().url_patterns
        for one in getattr(one, "url_patterns", [one])
        if isinstance(one, URLPattern) and not one.pattern.converters
    }


def _reached(client):
    """Names of all addresses that links lead to, one page of each name being opened."""
    names, waiting = set(), ["/"]
    while waiting:
        address = waiting.pop()
        try:
            name = resolve(address).url_name
        except Resolver404:
            continue
        if name in names:
            continue
        names.add(name)
        answer = client.get(address)
        if answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html"):
            waiting += [unescape(link) for link in LINK.findall(answer.content.decode())]
    return names


def test_every_page_is_reached_by_links_from_the_first(client):
    for n in (1, 2):
        place = makers.a_place(site=makers.a_site(name=f"Site {n}"), positions=("DE",))
        makers.a_reading(bearing=makers.a_bearing(place=place), on=today_in("UTC"), value="0.150")
    found = set()
    for role in ("engineer", "planner", "administrator", "auditor"):
        client.force_login(makers.an_account(role=role))
        found |= _reached(client)
    assert _without_arguments() - NOT_PAGES - OF_A_PLAN - found == set()
    assert _without_arguments() >= NOT_PAGES
