"""Every address against who may open it: signed out, every role at its own site, and a stranger from another
site.
"""

import datetime as dt

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from fleet import background_jobs
from fleet.importing.drafts import begin
from fleet.importing.options import Options
from fleet.models import Attachment
from fleet.plant.calibration import Certificate, calibrate
from fleet.plant.gauge_register import instrument_named
from tests import makers

pytestmark = pytest.mark.django_db

HISTORY = "pump,position,date,event,value,unit\nLift 1,DE,2021-03-09,reading,0.155,mm\n"
ROLES = ("mechanic", "foreman", "engineer", "planner", "operations", "auditor", "reader", "administrator")
ALL = dict.fromkeys(ROLES, 200)
READERS = ALL | {"administrator": 404, "stranger": 404}
# Recording: who may write down what is measured; other roles at the site are refused, strangers see nothing.
RECORDERS = dict.fromkeys(("mechanic", "foreman", "engineer"), 200) | dict.fromkeys(
    ("planner", "operations", "auditor", "reader"), 403
)
RECORDERS |= {"administrator": 404, "stranger": 404, "out": 302}
# Without an open visit these lead to the start, where one is begun.
IN_A_VISIT = RECORDERS | dict.fromkeys(("mechanic", "foreman", "engineer"), 302)
# Of no one bearing: whoever records anywhere (a stranger records at another site).
TAKERS = RECORDERS | {"administrator": 403, "stranger": 200}
ONE_OWN = dict.fromkeys((*ROLES, "stranger"), 404) | {"engineer": 200, "out": 302}
# By the name of the address: what each role (at its own site) and a stranger get from GET; "out" where signed
# out.
SIGN_IN = 302
TABLE: dict[str, dict[str, int]] = {
    "sign-in": dict.fromkeys((*ROLES, "stranger"), 302) | {"out": 200},
    "change-password": ALL | {"stranger": 200, "out": SIGN_IN},
    # No password was given in this session.
    "sign-in-code": dict.fromkeys((*ROLES, "stranger", "out"), 302),
    "second-factor": ALL | {"stranger": 200, "out": SIGN_IN},
    **dict.fromkeys(
        ("second-factor-asked", "break-glass-seal", "notices-read"),
        dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    ),
    "sign-out": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "health": ALL | {"stranger": 200, "out": 200},
    "at-pump": dict.fromkeys(ROLES, 403)
    | dict.fromkeys(("mechanic", "foreman", "engineer", "stranger"), 200)
    | {"out": SIGN_IN},
    "watch-list": ALL | {"stranger": 200, "out": SIGN_IN},
    "watch-list-sheet": ALL | {"stranger": 200, "out": SIGN_IN},
    "plan": ALL | {"stranger": 200, "out": SIGN_IN},
    "plan-sites": ALL | {"stranger": 200, "out": SIGN_IN},
    # No plan is worked out in this record: below the page there is nothing to see.
    **dict.fromkeys(
        ("work-list", "plan-bearing", "plan-outage", "plan-compare"),
        dict.fromkeys((*ROLES, "stranger"), 404) | {"out": SIGN_IN},
    ),
    **dict.fromkeys(
        ("plan-sheet", "plan-csv", "plan-calendar"),
        dict.fromkeys(ROLES, 403)
        | {
            "engineer": 404,
            "planner": 404,
            "auditor": 404,
            "stranger": 404,
            "out": SIGN_IN,
        },
    ),
    **dict.fromkeys(
        ("plan-change", "plan-anew", "plan-accept", "plan-put-off", "plan-run-on"),
        dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    ),
    "deferrals": ALL | {"stranger": 200, "out": SIGN_IN},
    "deferral-answer": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "decide": READERS | {"out": SIGN_IN},
    "deferral-answers": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "deferral-check": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "method": ALL | {"stranger": 200, "out": SIGN_IN},
    "trends": ALL | {"stranger": 200, "out": SIGN_IN},
    "backtest": ALL | {"stranger": 200, "out": SIGN_IN},
    "bearing": READERS | {"out": SIGN_IN},
    "record": RECORDERS,
    "record-sheet": RECORDERS,
    "record-receipt": dict.fromkeys(ROLES, 302) | {"administrator": 404, "stranger": 404, "out": SIGN_IN},
    # Without a visit there is nothing to sign.
    "disposition": dict.fromkeys((*ROLES, "stranger"), 404) | {"out": SIGN_IN},
    "dispositions": ALL | {"stranger": 200, "out": SIGN_IN},
    "signatures": ALL | {"stranger": 200, "out": SIGN_IN},
    # An unknown code leads back to the page of codes; without a visit there is nothing to sign.
    "sign-code": dict.fromkeys((*ROLES, "stranger", "out"), 302),
    "sign": dict.fromkeys((*ROLES, "stranger"), 404) | {"out": SIGN_IN},
    "record-reading": IN_A_VISIT,
    "record-other": IN_A_VISIT,
    "record-people": IN_A_VISIT,
    "record-could-not": IN_A_VISIT,
    "record-mend": IN_A_VISIT,
    "record-counts": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "record-taken-back": IN_A_VISIT,
    "record-overview": IN_A_VISIT,
    "record-check": IN_A_VISIT,
    "record-print": IN_A_VISIT,
    "record-scraped": IN_A_VISIT,
    "record-seen": IN_A_VISIT,
    "record-work": IN_A_VISIT,
    "record-opened": IN_A_VISIT,
    "record-close": IN_A_VISIT,
    "bearing-history": READERS | {"out": SIGN_IN},
    "bearing-names": READERS | {"out": SIGN_IN},
    "bearing-limits": READERS | {"out": SIGN_IN},
    "bearing-book": READERS | {"out": SIGN_IN},
    "second-person": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "bearing-correct": (
        dict.fromkeys(ROLES, 403) | {"engineer": 200, "administrator": 404, "stranger": 404, "out": SIGN_IN}
    ),
    "bearing-join": (
        dict.fromkeys(ROLES, 403) | {"engineer": 200, "administrator": 404, "stranger": 404, "out": SIGN_IN}
    ),
    "bearing-bundle": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "bearing-label": dict.fromkeys(ROLES, 302) | {"administrator": 404, "stranger": 404, "out": SIGN_IN},
    "record-photo": IN_A_VISIT,
    "photo": READERS | {"out": SIGN_IN},
    "record-offline": TAKERS,
    "record-pack": TAKERS,
    "record-queue": ALL | {"stranger": 200, "out": SIGN_IN},
    "record-settle": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    # Browsers ask for it without cookies.
    "record-worker": ALL | {"stranger": 200, "out": 200},
    "contact-reader": ALL | {"stranger": 200, "out": SIGN_IN},
    "people": dict.fromkeys((*ROLES, "stranger"), 403) | {"administrator": 200, "out": SIGN_IN},
    "sites": dict.fromkeys((*ROLES, "stranger"), 403) | {"administrator": 200, "out": SIGN_IN},
    "people-change": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "choices": ALL | {"stranger": 200, "out": SIGN_IN},
    "method-cards": ALL | {"stranger": 200, "out": SIGN_IN},
    **dict.fromkeys(
        ("proof", "who-may"),
        dict.fromkeys(ROLES, 403)
        | {
            "engineer": 200,
            "auditor": 200,
            "administrator": 200,
            "stranger": 200,
            "out": SIGN_IN,
        },
    ),
    **dict.fromkeys(
        ("take-seal", "hold-seal", "check-record"),
        dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    ),
    "gauges": ALL | {"stranger": 200, "out": SIGN_IN},
    "gauge": ALL | {"stranger": 200, "out": SIGN_IN},
    "gauge-recall": (
        dict.fromkeys(ROLES, 403)
        | {
            "engineer": 200,
            "planner": 200,
            "auditor": 200,
            "stranger": 200,
            "out": SIGN_IN,
        }
    ),
    "certificate": ALL | {"administrator": 404, "stranger": 200, "out": SIGN_IN},
    "labels": ALL | {"stranger": 200, "out": SIGN_IN},
    "import": ALL | {"stranger": 200, "out": SIGN_IN},
    # New dates are asked for once for all who may ask; a stranger here is an engineer elsewhere.
    "job": ONE_OWN | {"planner": 200, "stranger": 200},
    "dates-anew": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "import-template": ALL | {"stranger": 200, "out": SIGN_IN},
    "import-done": READERS | {"out": SIGN_IN},
    "quality": ALL | {"stranger": 200, "out": SIGN_IN},
    "import-withdraw": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "import-settle": dict.fromkeys((*ROLES, "stranger"), 405) | {"out": SIGN_IN},
    "import-back": READERS | {"out": SIGN_IN},
    "limits-of-many": (
        dict.fromkeys((*ROLES, "stranger"), 403) | {"engineer": 200, "stranger": 200, "out": SIGN_IN}
    ),
    "import-words": ALL | {"stranger": 200, "out": SIGN_IN},
    "import-questions": ONE_OWN,
    "import-last": ONE_OWN,
    "import-plan": ONE_OWN,
    "import-marked": ONE_OWN,
}


def _named(resolver: URLResolver) -> list[URLPattern]:
    found: list[URLPattern] = []
    for pattern in resolver.url_patterns:
        found += _named(pattern) if isinstance(pattern, URLResolver) else [pattern]
    return found


def test_every_address_stands_in_the_table():
    assert {pattern.name for pattern in _named(get_resolver())} == set(TABLE)


RECORD_PATHS = {
    "record": "record",
    "record-sheet": "record/sheet",
    "record-receipt": "record/receipt",
    "record-reading": "record/reading",
    "record-could-not": "record/could-not",
    "record-mend": "record/mend",
    "record-counts": "record/counts",
    "record-taken-back": "record/taken-back",
    "record-overview": "record/visit",
    "record-check": "record/contact",
    "record-print": "record/print",
    "record-scraped": "record/scraped",
    "record-seen": "record/seen",
    "record-work": "record/work",
    "record-opened": "record/opened",
    "record-close": "record/close",
    "record-photo": "record/photo",
    "record-other": "record/other",
    "record-people": "record/people",
}


@pytest.fixture
def cast_and_addresses():
    site = makers.a_site(name="Own site")
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1"))
    done = makers.a_sheet(f"""site,pump,position,date,event,value,unit,method
        Own site,Lift 1,DE,{dt.date(2020, 3, 9)},reading,0.150,mm,bore_gauge""")
    gauge = instrument_named("G-7", method="bore_gauge", by=makers.somebody())
    paper = Certificate("paper.pdf", b"%PDF-1.7")
    check = calibrate(
        instrument=gauge,
        on=dt.date(2020, 3, 9),
        found_fit=False,
        note="bent",
        by=makers.somebody(),
        certificate=paper,
    )
    arguments = {
        "bearing": "/bearings/Lift 1/DE/",
        **{name: f"/bearings/Lift 1/DE/{path}/" for name, path in RECORD_PATHS.items()},
        "people-change": "/people/1/",
        "record-settle": "/record/queue/settle/1/",
        "gauge": f"/gauges/{gauge.pk}/",
        "gauge-recall": f"/gauges/{gauge.pk}/in-doubt/{check.pk}.xlsx",
        "certificate": f"/gauges/certificate/{Attachment.objects.get(about=check.pk).pk}/",
        "bearing-correct": f"/bearings/Lift 1/DE/correct/{makers.a_reading(bearing=bearing).pk}/",
        "bearing-join": "/bearings/Lift 1/DE/join/",
        "bearing-bundle": "/bearings/Lift 1/DE/bundle/",
        "bearing-names": "/bearings/Lift 1/DE/names/",
        "bearing-limits": "/bearings/Lift 1/DE/limits/",
        "bearing-book": "/bearings/Lift 1/DE/book/",
        "disposition": "/bearings/Lift 1/DE/disposition/",
        "decide": f"/decide/{bearing.pk}/",
        "deferral-answer": f"/deferrals/{bearing.pk}/",
        "deferral-check": f"/decide/{bearing.pk}/check/",
        "bearing-history": "/bearings/Lift 1/DE/history/",
        "sign": f"/sign/visit/{bearing.pk}/",
        "sign-code": "/sign/abc234/",
        "photo": f"/photos/{makers.a_photo(bearing=bearing).pk}/",
        "bearing-label": f"/b/{bearing.pk}/",
        "import-withdraw": f"/import/{done.sheet.pk}/withdraw/",
        "import-settle": f"/import/{done.sheet.pk}/settle/",
        "import-back": f"/import/{done.sheet.pk}/remarks.xlsx",
        "import-template": "/import/templates/register/",
        "import-done": f"/import/{done.sheet.pk}/",
    }
    cast = makers.a_cast(site=site)
    arguments["job"] = f"/jobs/{background_jobs.ask('forecast', by=cast['engineer']).pk}/"
    draft = begin(cast["engineer"], HISTORY.encode(), "sheet.csv", "history", Options()).pk
    for name, path in (
        ("import-questions", ""),
        ("import-last", "last/"),
        ("import-plan", "plan/"),
        ("import-marked", "remarks.xlsx"),
    ):
        arguments[name] = f"/import/draft/{draft}/{path}"
    return cast, arguments


@pytest.mark.parametrize("name", list(TABLE))
def test_who_may_open_it(name, cast_and_addresses):
    from django.urls import NoReverseMatch, reverse

    cast, addresses = cast_and_addresses
    try:
        address = reverse(name)
    except NoReverseMatch:
        address = addresses[name]
        if name == "import-template":
            address = reverse(name, args=["register"])
    got = {}
    for who, account in [*cast.items(), ("out", None)]:
        client = Client()
        if account:
            client.force_login(account)
        got[who] = client.get(address).status_code
    assert got == TABLE[name]


def test_nothing_of_another_site_is_named_on_a_strangers_pages(client, cast_and_addresses):
    cast, _ = cast_and_addresses
    client.force_login(cast["stranger"])
    for address in ("/", "/import/", "/?find=Lift", "/labels/", "/labels/?site=Own site"):
        page = client.get(address).content.decode()
        assert "Lift 1" not in page and "Own site" not in page


def test_a_post_without_its_token_is_refused(cast_and_addresses):
    cast, _ = cast_and_addresses
    client = Client(enforce_csrf_checks=True)
    client.force_login(cast["engineer"])
    assert client.post("/import/", {}).status_code == 403
