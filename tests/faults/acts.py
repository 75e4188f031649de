"""The record that the rounds begin with, and the acts that are broken off in it.

An act is done as a person or a device does it who heard no answer: done again, it must leave what doing it
once leaves.
"""

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.test import Client

from fleet import background_jobs
from fleet.backup import NotDone, back_up, restore
from fleet.ledger import kinds
from fleet.ledger.verify import verify
from fleet.models import Account, Bearing, Entry, Job, Person
from inspections.models import DraftPlan, Forecast, ForecastRun, Plan, Reading, Visit
from inspections.records.recording import NotRecorded, open_visit
from inspections.visits.acts import close

TODAY = dt.date(2026, 6, 1)
SHEET = "pump,position,date,event,value,unit\n" + "".join(
    f"Worn,DE,{year}-03-09,reading,0.{150 + year - 1990},mm\n" for year in range(1990, 2015)
)
ENTRY_ID = "6e3c0e0a-5f4c-4d5e-9d2a-0d3c51ac2d10"


@dataclass(frozen=True)
class Act:
    """What is done; whether it is done by itself on an empty record; what it leaves is counted in these
    tables.
    """

    name: str
    do: Callable[[], Any]
    on_empty: bool = False
    by_worker: bool = False


def make_base(folder: Path) -> str:
    """A record with a fleet and its plan in hand, a visit that stands open, a job that waits; answers a
    session's key.
    """
    from dashboards.outage_plan.versions import propose, weigh
    from tests import makers
    from tests.dashboards.outage_plan.plan_fleet import a_fleet, run_on

    site = a_fleet(TODAY)
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Worn"))
    account = makers.an_account(role="engineer", username="engineer")
    visit = open_visit(place=bearing.place, on=TODAY, by=account.person_id)
    makers.a_reading(bearing=bearing, on=TODAY, value="0.190", visit=visit)
    draft = propose(site, TODAY, by=account.person_id)
    above = Bearing.objects.select_related("place__site")
    run_on(TODAY, *above.filter(pk__in=[row["bearing"] for row in weigh(draft).above]))
    background_jobs.ask("forecast", by=account)
    client = Client()
    client.force_login(account)
    back_up(folder / "site.zip", by=account.person_id)
    return client.session.session_key


def acts(session: str, folder: Path) -> list[Act]:
    """Every act that is broken off."""
    return [
        Act("import", bring_sheet),
        Act("recording", lambda: record(session)),
        Act("closing", close_the_visit),
        Act("acceptance", accept_the_plan),
        Act("restore", lambda: fill_from(folder / "site.zip"), on_empty=True),
        Act("worker", work, by_worker=True),
    ]


def engineer() -> Account:
    """Who does it."""
    return Account.objects.get(username="engineer")


def the_visit() -> Visit:
    """The visit of the bearing `Worn` that stands open at the beginning."""
    return Visit.objects.get(place__tag="Worn", opened_on=TODAY)


def bring_sheet() -> None:
    """A history of 25 readings."""
    from fleet.importing.loading import import_file
    from fleet.importing.options import Options

    result = import_file(
        SHEET.encode(), "history.csv", holds="history", by=engineer().person_id, options=Options()
    )
    assert result.ok, [str(finding) for finding in result.faults[:2]]


def an_entry(number: int = 0) -> dict[str, Any]:
    """What a device queued: a reading at the open visit of the bearing `Worn`."""
    visit = the_visit()
    identity = ENTRY_ID if not number else str(uuid.UUID(int=uuid.UUID(ENTRY_ID).int + number))
    return {
        "id": identity,
        "kind": "reading",
        "bearing": str(visit.place.bearings.order_by("folded").first().pk),
        "visit": str(visit.pk),
        "author": str(engineer().person_id),
        "entered_at": "2026-06-01T03:04:05Z",
        "stage": "as_found",
        "station": ("in-12", "out-12", "in-3", "out-3", "in-6", "out-6", "in-9", "out-9")[number % 8],
        "fields": {
            "value": f"0.{200 + number}",
            "unit": "mm",
            "method": "bore_gauge",
            "basis": "diametral",
            "exceptions": [],
        },
    }


def sent(entry: dict[str, Any]) -> dict[str, str]:
    """An entry as a device sends it."""
    text = json.dumps(entry, sort_keys=True)
    return {"text": text, "sha256": hashlib.sha256(text.encode()).hexdigest()}


def send(session: str, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Post entries of a device's queue through the site's own pages; what it answered."""
    client = Client()
    client.cookies["sessionid"] = session
    body = json.dumps({"entries": [sent(entry) for entry in entries]})
    answer = client.post("/record/queue/", body, content_type="application/json")
    assert answer.status_code == 200, answer.status_code
    answers: list[dict[str, Any]] = answer.json()["entries"]
    return answers


def record(session: str) -> None:
    """A device sends one reading, and has its receipt."""
    (answer,) = send(session, [an_entry()])
    assert answer["state"] in ("stored", "already"), answer["why"]


def close_the_visit() -> None:
    """The visit that stands open is signed and closed; closed already, it is left as it is."""
    visit = the_visit()
    try:
        close(visit=visit, on=TODAY, by=engineer().person_id, missing=[], checked_by=None)
    except NotRecorded:
        assert visit.closed_on is not None


def accept_the_plan() -> None:
    """The plan in hand is accepted; a person who sees it accepted leaves it."""
    from dashboards.outage_plan.acceptance import accept

    if not Plan.objects.exists():
        accept(
            draft=DraftPlan.objects.get(),
            reason="the shells are here",
            on=TODAY,
            by=engineer().person_id,
        )


def fill_from(path: Path) -> None:
    """A backup into an empty record; into one that was filled, refused."""
    try:
        restore(path)
    except NotDone as refused:
        assert "not empty" in str(refused), refused


def work() -> None:
    """The worker takes the job that waits; where one was left by a worker that was killed, it is asked for
    anew.
    """
    Job.objects.filter(state=Job.State.RUNNING).update(beat_at=dt.datetime(2026, 1, 1, tzinfo=dt.UTC))
    if not Job.objects.filter(state=Job.State.WAITING).exists():
        background_jobs.ask("forecast", by=engineer())
    done = background_jobs.do_next()
    assert done is not None and done.state == Job.State.DONE, done and done.said


def counts() -> dict[str, int]:
    """How many rows stand in the ledger and in every table that it fills."""
    models = {Entry, Person, *(kind.model for kind in kinds.all_kinds() if kind.model is not None)}
    return {model._meta.label_lower: model._base_manager.count() for model in models}


def runs() -> dict[str, int]:
    """Of the stored forecasts: how many runs, and how many of them hold fewer bearings than the fullest."""
    held = [Forecast.objects.filter(run=run).count() for run in ForecastRun.objects.all()]
    return {"runs": len(held), "half": sum(1 for n in held if n < max(held))}


def faults() -> list[str]:
    """What the check of the record finds."""
    return verify().faults


def readings() -> list[str]:
    """The ids of all readings of the visit that stands open."""
    rows = Reading.objects.standing().filter(visit=the_visit())
    return sorted(str(row.pk) for row in rows)
