"""How long a change on the plan's page takes to answer: `python -m tests.bench.plan_change`, on a record such
as the demo's.

Without the record: reading what was kept of 60 and of 500 bearings in 12 outages, weighing the changed plan,
the choices of one bearing. Through Django's test client: the post of a change with the page it leads to, for
every site that has a plan in hand, then for a site that is lent a plan of 60 and of 500 bearings; nothing of
it stays.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import os
import time
import uuid
from collections.abc import Callable

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ.setdefault("PLAIN_HTTP", "yes")

import django

django.setup()

import numpy as np
from django.conf import settings
from django.db import transaction
from django.test import Client

from dashboards.outage_plan.drafts import NotPlanned, Solved, in_hand, keep, take_back
from dashboards.outage_plan.inputs_json import from_json, jobs_to_json, to_json
from dashboards.outage_plan.pump_openings.alternatives import alternatives
from dashboards.outage_plan.pump_openings.changes import changed, replayed
from dashboards.outage_plan.pump_openings.evaluate import evaluate
from dashboards.outage_plan.pump_openings.proposed import proposed
from fleet.models import Account, Role, Site
from tests.bench.plan_instances import inputs_of

MOVE = "move"


def took(what: Callable[[], object], times: int) -> tuple[float, float]:
    """Median and worst of several runs, ms."""
    found = []
    for _ in range(times):
        began = time.perf_counter()
        what()
        found.append(1000 * (time.perf_counter() - began))
    return float(np.median(found)), max(found)


def weighing(n: int, times: int) -> None:
    """What the server works out for one change, without Django."""
    given = inputs_of(n, 12, 0.7, 0)
    text = json.dumps(to_json(given))
    began = time.process_time()
    jobs = proposed(given).jobs
    print(
        f"| {n} bearings x 12: solved anew (processor seconds) | {time.process_time() - began:.1f} s | |",
        flush=True,
    )
    said = [{"what": MOVE, "bearing": jobs[0].bearing, "action": "open", "outage": given.outages[-1].name}]

    def change() -> None:
        inputs = changed(given, said)
        evaluate(replayed(jobs, said, inputs), inputs)

    _line(f"{n} bearings x 12: read what was kept", *took(lambda: from_json(json.loads(text)), times))
    _line(f"{n} bearings x 12: weigh the changed plan", *took(change, times))
    _line(
        f"{n} bearings x 12: every choice of one bearing",
        *took(lambda: alternatives(jobs, given, jobs[0].bearing), times),
    )


def on_the_page(site: Site, times: int) -> None:
    """The post of a change, then the page it leads to, for the plan in hand of one site."""
    hand = in_hand(site)
    role = Role.objects.standing().filter(role="planner", site=None).first()
    account = Account.objects.filter(person_id=role.person_id).first() if role else None
    if hand is None or account is None or not hand.solved["jobs"]:
        return
    client = Client()
    client.force_login(account)
    outages = list(hand.solved["ids"]["outages"])
    bearings = itertools.cycle([job[0] for job in hand.solved["jobs"]])

    def change() -> None:
        # Another job each time: what was weighed before is not weighed again.
        given = {"what": MOVE, "bearing": next(bearings), "job": f"open|{outages[-1]}"}
        answer = client.post("/plan/change/", given | {"site": site.name, "draft": str(hand.pk)}, follow=True)
        assert b"Your changes" in answer.content

    client.get("/plan/", {"site": site.name})
    said = f"{len(hand.solved['ids']['bearings'])} bearings x {len(outages)}"
    _line(f"{said}: post and page", *took(change, times))
    with contextlib.suppress(NotPlanned):
        take_back(draft=hand, number=-1)


def lent(site: Site, n: int) -> None:
    """A plan in hand of n invented bearings for a site."""
    given = inputs_of(n, 12, 0.7, 0)
    names = [[one.name for one in some] for some in (given.bearings, given.outages)]
    ids = dict(
        zip(("bearings", "outages"), ({m: str(uuid.uuid4()) for m in some} for some in names), strict=True)
    )
    made = proposed(given)
    said = {
        "jobs": jobs_to_json(made.jobs),
        "cost": made.cost,
        "bound": made.bound,
        "stopped_by": "",
        "ids": ids,
        "refused": [],
        "left_out": [],
    }
    keep(site, given.as_of, Solved("lent", {"plan": to_json(given)}, said), by=None)


def _line(what: str, median: float, worst: float) -> None:
    print(f"| {what} | {median:.0f} | {worst:.0f} |", flush=True)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=15)
    args = parser.parse_args()
    print("| change | median ms | worst ms |\n| --- | --- | --- |")
    for n in (60, 500):
        weighing(n, args.times)
    settings.ALLOWED_HOSTS = ["*"]
    with transaction.atomic():
        sites = list(Site.objects.standing())
        for site in sites:
            on_the_page(site, args.times)
        for n in (60, 500) if sites else ():
            lent(sites[0], n)
            on_the_page(sites[0], args.times)
        transaction.set_rollback(True)


if __name__ == "__main__":
    main()
