"""How to measure: a card stands at its step once this site's engineer approved it, with author and day."""

import json
import re

import pytest
from django.test import Client

from fleet.formatting import day
from fleet.measuring_methods import METHODS
from fleet.models import Setting
from fleet.plant.choices import set_setting
from inspections.visits import machine_book
from inspections.visits.method_cards import drafts
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, said, today_of

pytestmark = pytest.mark.django_db
PAGE = "/choices/how-to-measure/"


def _engineer(site):
    client = Client()
    client.account = makers.an_account(role="engineer", site=site, username="E. Ngineer")
    client.force_login(client.account)
    return client


def _approve(client, site, method="bore_gauge", **more):
    method = more.pop("method", method)
    draft = drafts().get(method, drafts()["feeler"])
    typed = {"steps": "\n".join(draft.steps), "heed": "\n".join(draft.heed), "source": draft.source}
    return client.post(PAGE, {"site": site.name, "method": method} | typed | more, follow=True)


def _step(client, bearing):
    return said(client.get(at(bearing, "reading/", stage="as_found")))


@pytest.fixture
def at_step():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    return bearing, client


def test_no_card_is_shown_before_the_sites_own_engineer_approved_it(at_step):
    bearing, client = at_step
    assert "How to measure" not in _step(client, bearing)
    other = makers.a_site()
    _approve(_engineer(other), other)
    everywhere = makers.an_account(role="engineer")
    draft = {"steps": ["by the plant"], "heed": [], "source": ""}
    set_setting(name="method_card bore_gauge", value=draft, site=None, by=everywhere.person_id)
    assert "How to measure" not in _step(client, bearing)


def test_an_approved_card_stands_at_its_step_with_its_author_and_goes_when_taken_down(at_step):
    bearing, client = at_step
    site = bearing.place.site
    engineer = _engineer(site)
    assert "is approved and stands at its step" in said(_approve(engineer, site, steps="First.\n\n Then. "))
    page = _step(client, bearing)
    assert "How to measure: bore gauge First. Then. Heed. Across alone hides the wear" in page
    assert "Common practice, no published source." in page and "Approved by E. Ngineer" in page
    engineer.post(PAGE, {"site": site.name, "method": "bore_gauge", "down": "yes"})
    assert "How to measure" not in _step(client, bearing)
    assert Setting.objects.standing().filter(name="method_card bore_gauge").count() == 2


def test_the_card_of_the_chosen_method_is_the_one_that_is_seen(at_step):
    bearing, client = at_step
    engineer = _engineer(bearing.place.site)
    for method in ("bore_gauge", "feeler"):
        _approve(engineer, bearing.place.site, method)
    page = client.get(at(bearing, "reading/", stage="as_found")).content.decode()
    assert 'data-card="bore_gauge">' in page and 'data-card="feeler" hidden>' in page


def test_who_may_not_set_limits_there_approves_nothing(at_step):
    bearing, client = at_step
    assert _approve(client, bearing.place.site).status_code == 403
    stranger = _engineer(makers.a_site())
    assert _approve(stranger, bearing.place.site).status_code == 403
    assert not Setting.objects.filter(name__startswith="method_card").exists()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"steps": " \n "}, "give at least one, one to a line"),
        ({"steps": "\n".join("step" for _ in range(11))}, "11 lines; at most 10"),
        ({"steps": "x" * 241}, "at most 240 letters a line"),
        ({"source": "x" * 121}, "121 letters; at most 120"),
        ({"method": "crystal ball"}, "no method with a card"),
    ],
)
def test_what_cannot_be_a_card_is_refused_in_words_and_nothing_is_lost(at_step, typed, words):
    bearing, _ = at_step
    answer = _approve(_engineer(bearing.place.site), bearing.place.site, **typed)
    assert words in said(answer) and "Nothing was changed." in said(answer)
    if typed.get("steps", "").strip():
        assert typed["steps"].splitlines()[0] in answer.content.decode()
    assert not Setting.objects.filter(name__startswith="method_card").exists()


def test_every_method_that_is_offered_has_a_draft_that_names_no_number_and_fits_a_card():
    assert set(drafts()) == {name for name, one in METHODS.items() if one.offered}
    for name, draft in drafts().items():
        lines = (*draft.steps, *draft.heed)
        assert len(draft.steps) <= 6 and all(len(line) <= 170 for line in lines), name
        assert not re.search(r"\d", " ".join(lines)), name
        assert "practice" in draft.source and not re.search(r"\b(lies?|backs?)\b", " ".join(lines)), name


def test_a_device_takes_cards_once_a_site_and_each_bearings_book_along(at_step):
    bearing, client = at_step
    site = bearing.place.site
    engineer = _engineer(site)
    _approve(engineer, site, steps="Isolate.\nLift.", heed="Seal limits the lift.")
    entries = {"cap_torque": "120 N m, crosswise", "shims": "0.50 mm each side"}
    by = engineer.account.person_id
    machine_book.enter(bearing=bearing, entries=entries, on=today_of(bearing), by=by)
    answer = client.get("/record/pack/").json()
    since = {"by": "E. Ngineer", "on": day(today_of(bearing))}
    (packed,), (card,) = answer["bearings"], answer["cards"].pop(site.name)
    assert packed["book"] == {
        "lines": [["Cap torque", "120 N m, crosswise"], ["Shims", "0.50 mm each side"]],
        **since,
    }
    assert card == {
        "method": "bore_gauge",
        "words": "bore gauge",
        "steps": ["Isolate.", "Lift."],
        "heed": ["Seal limits the lift."],
        "source": drafts()["bore_gauge"].source,
        **since,
    }
    assert answer["cards"] == {} and len(json.dumps(packed["book"])) < 300
