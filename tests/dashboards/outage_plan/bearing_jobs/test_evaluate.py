"""A changed plan is judged without solving: risk, hours, spares, reasons, orders."""

import datetime as dt
import time
from dataclasses import replace

import numpy as np
import pytest

from dashboards.outage_plan.bearing_jobs.changes import (
    compare,
    found_worse,
    move,
    refuse,
    shorten,
    skip,
    slip,
)
from dashboards.outage_plan.bearing_jobs.evaluate import evaluate
from dashboards.outage_plan.bearing_jobs.inputs import LEAVE, REPLACE, Job, Spare
from dashboards.outage_plan.bearing_jobs.orders import early_date, orders
from tests.bench.plan_instances import instance
from tests.dashboards.outage_plan.bearing_jobs.small_plans import AS_OF, bearing, inputs, outage, passing

ONE = Job("A/DE", REPLACE, "O1")


def plain(**more):
    return inputs([bearing("A/DE", 1200.0, **more)], [outage(t) for t in range(3)])


def test_a_pumps_opening_is_counted_once_and_shared_out():
    given = inputs([bearing("A/DE", 500.0), bearing("A/NDE", 500.0)], [outage(0)])
    both = evaluate((Job("A/DE", REPLACE, "O0"), Job("A/NDE", REPLACE, "O0")), given)
    assert both.loads[0].used_hours == 40
    assert [j.crew_hours for j in both.jobs] == [20, 20]


def test_moving_a_job_later_raises_the_chance_before_it_and_the_page_says_so():
    given = plain()
    here, later = evaluate((ONE,), given), evaluate(move((ONE,), Job("A/DE", REPLACE, "O2")), given)
    assert here.jobs[0].p_max_if_deferred == pytest.approx(later.jobs[0].p_max_before_work)
    assert (here.n_above_accepted, later.n_above_accepted) == (0, 1)
    assert later.not_fitting[0].cause == "fits"
    assert later.not_fitting[0].reason == "the plan does not have it in O1, where it would fit"
    assert move((ONE,), Job("A/DE", LEAVE)) == ()
    assert compare(here, later).moved == (("A/DE", "replace in O1", "replace in O2"),)
    assert compare(here, later).hours == {"O0": 0, "O1": -24, "O2": 24}


def test_a_new_shell_starts_its_own_chance():
    given = plain()
    after = evaluate((ONE,), given).chance[0]
    left = evaluate((), given).chance[0]
    assert after[:2] == pytest.approx(left[:2])
    assert after[2] < left[2] / 5


def test_a_slipped_outage_takes_the_chance_of_its_new_day():
    given = plain()
    slipped = evaluate((ONE,), slip(given, "O1", 300)).jobs[0]
    assert slipped.p_max_before_work == pytest.approx(np.interp(845, given.days, passing(1200.0)), abs=1e-9)


def test_shortened_and_skipped_outages_are_named_as_faults():
    assert evaluate((ONE,), shorten(plain(), "O1", 20)).faults == (
        "O1: 24 h planned of 20 crew hours: 4 h too many.",
    )
    assert evaluate((ONE,), skip(plain(), "O1")).faults == ("A/DE: O1 is skipped.",)


def test_found_worse_moves_the_early_date():
    given = plain()
    worse = found_worse(given, "A/DE", passing(400.0))
    assert early_date(worse, "A/DE") < early_date(given, "A/DE")
    assert evaluate((ONE,), worse).jobs[0].p_max_before_work > 0.8


def test_the_early_date_is_where_the_chance_reaches_the_accepted_risk():
    day = (early_date(plain(), "A/DE") - AS_OF).days
    assert np.interp(day, plain().days, passing(1200.0)) == pytest.approx(0.1, abs=0.002)
    assert early_date(inputs([bearing("A/DE", 1e6)], [outage(0)]), "A/DE") is None


def test_what_would_make_a_bearing_fit_is_said():
    short = evaluate((), shorten(shorten(skip(plain(), "O0"), "O1", 20), "O2", 0))
    assert (short.not_fitting[0].cause, short.not_fitting[0].remedy) == (
        "no_hours",
        "4 more crew hours in O1",
    )
    shellless = evaluate((), plain(shell_type="S"))
    assert shellless.not_fitting[0].cause == "no_shell"
    assert shellless.not_fitting[0].remedy == "one shell S lower by 2027-08-29"
    soon = evaluate((), inputs([bearing("A/DE", 100.0)], [outage(0)])).not_fitting[0]
    assert soon.cause == "already" and soon.remedy.startswith("open A before O0")
    assert "no outage before 2026-05-0" in soon.reason and "starts on 2026-08-29" in soon.reason
    now = replace(plain().bearings[0], chance_left=np.full(len(plain().days), 0.4))
    today = evaluate((), inputs([now], [outage(0)])).not_fitting[0]
    assert today.reason == "4 in 10 have passed today already, before O0, its first outage"
    refused = evaluate((), refuse(plain(), Job("A/DE", "", ""))).not_fitting[0]
    assert (refused.cause, refused.reason) == ("refused", "a new shell is refused in O0 and O1")
    pinned = evaluate((), replace(plain(), pinned=(Job("A/DE", LEAVE),))).not_fitting[0]
    assert (pinned.cause, pinned.reason) == ("pinned", "it is pinned to be left alone")
    frozen = inputs(plain().bearings, [outage(0, scope_freeze_on=AS_OF)], accepted=())
    assert evaluate((), replace(frozen, bearings=(bearing("A/DE", 350.0),))).not_fitting[0].cause == "frozen"
    two = inputs([bearing("A/DE", 350.0), bearing("B/DE", 350.0)], [outage(0)], twins=[("A", "B")])
    blocked = evaluate((Job("A/DE", REPLACE, "O0"),), two)
    assert blocked.not_fitting[0].remedy == "move A to another outage"


def test_shells_come_from_the_shelf_first_and_an_order_has_its_day():
    given = inputs(
        [bearing("A/DE", 500.0, shell_type="S"), bearing("B/DE", 1200.0, shell_type="S")],
        [outage(0), outage(1)],
        spares=(Spare("S", on_hand=1, lead_time_days=200),),
    )
    plan = evaluate((Job("A/DE", REPLACE, "O0"), Job("B/DE", REPLACE, "O1")), given)
    assert [j.shell_from for j in plan.jobs] == ["on hand", "order"]
    first = orders(plan, given)[0]
    assert first.order_by == given.outages[1].start_on - dt.timedelta(days=214)
    assert first.days_left(AS_OF) == 545 - 214
    early = replace(given.bearings[1], chance_left=passing(700.0))
    sooner = replace(given, bearings=(given.bearings[0], early))
    assert orders(evaluate(tuple(Job(j.bearing, j.action, j.outage) for j in plan.jobs), sooner), sooner)[
        0
    ].order_by == early_date(sooner, "B/DE") - dt.timedelta(days=214)


def test_spares_by_month_add_up():
    given = inputs(
        [bearing("A/DE", 500.0, shell_type="S")],
        [outage(0), outage(1)],
        spares=(Spare("S", on_hand=1, due_back=((dt.date(2026, 5, 9), 2),)),),
        relined_after_days={"S": 60.0},
    )
    rows = [m for m in evaluate((Job("A/DE", REPLACE, "O0"),), given).months if m.family == "S lower"]
    there = {m.month: m.there for m in rows}
    assert [there[dt.date(2026, m, 1)] for m in (3, 4, 5, 7, 8, 9, 10)] == [1, 1, 3, 3, 2, 2, 3]


def test_changes_after_the_freeze_day_are_marked():
    frozen = inputs(
        [bearing("A/DE", 500.0), bearing("B/DE", 500.0)],
        [outage(0, scope_freeze_on=AS_OF)],
        accepted=(Job("A/DE", REPLACE, "O0"),),
    )
    assert evaluate((Job("B/DE", REPLACE, "O0"),), frozen).marked == (
        "O0: replace B/DE came in after the freeze day.",
        "O0: replace A/DE was taken out after the freeze day.",
    )


def test_a_change_of_five_hundred_bearings_is_answered_at_once():
    given = instance(500, 12, 0.7, 0)
    plan = tuple(Job(b.name, REPLACE, f"O{k % 12:02d}") for k, b in enumerate(given.bearings) if k % 3)
    best = np.inf
    for day in range(3):
        changed = slip(given, "O03", 30 + day)
        began = time.process_time()
        evaluate(plan, changed)
        best = min(best, time.process_time() - began)
    assert best < 0.3
