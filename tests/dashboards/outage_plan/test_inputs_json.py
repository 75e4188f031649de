"""Inputs kept as JSON come back the same; a later pin undoes an earlier refusal; a what-if reading moves the dates."""

import json
from dataclasses import replace

import numpy as np
import pytest

from dashboards.outage_plan.bearing_jobs.changes import changed, if_it_read, replayed
from dashboards.outage_plan.bearing_jobs.evaluate import evaluate
from dashboards.outage_plan.bearing_jobs.inputs import Job, Spare
from dashboards.outage_plan.bearing_jobs.opening import Outlook, with_openings
from dashboards.outage_plan.bearing_jobs.programme import solve
from dashboards.outage_plan.inputs_json import from_json, jobs_from_json, jobs_to_json, to_json
from tests.dashboards.outage_plan.bearing_jobs.small_plans import AS_OF, bearing, inputs, outage

LOOK = Outlook(
    clearance_um=np.array([[200.0, 210.0, 220.0], [150.0, 155.0, 160.0]]),
    rate_um_per_kh=np.array([[3.0, 4.0, 6.0], [1.0, 2.0, 3.0]]),
    hours_per_day=np.array([20.0, 20.0]),
    limit_um=np.array([260.0, 260.0]),
    reading_sd_um=np.array([6.0, 6.0]),
)


def _given(**more):
    rows = [bearing("A/1", 700, shell_type="S"), bearing("B/1", 2500)]
    return inputs(rows, [outage(0, scope_freeze_on=AS_OF), outage(1), outage(2)], twins=[("A", "B")], **more)


def test_kept_inputs_give_the_same_evaluation_to_a_millionth():
    given = with_openings(
        _given(
            spares=(Spare("S", "", None, 1, ((AS_OF, 2),), 90.0), Spare("S", "", 110_150.0, 1)),
            relined_after_days={"S": 200.0},
        ),
        LOOK,
    )
    back, look = from_json(json.loads(json.dumps(to_json(given, LOOK))))
    plan = solve(given).jobs
    was, now = evaluate(plan, given), evaluate(plan, back)
    assert now.cost == pytest.approx(was.cost, rel=1e-4) and now.jobs[0].reason == was.jobs[0].reason
    assert now.months == was.months and back.outages == given.outages and back.pumps == given.pumps
    assert look is not None and np.array_equal(look.rate_um_per_kh, LOOK.rate_um_per_kh)
    assert jobs_from_json(json.loads(json.dumps(jobs_to_json(plan)))) == plan


def test_a_chance_that_is_not_known_comes_back_not_known():
    given = inputs([bearing("A/1", 700, chance_left=np.full(len(_given().days), np.nan))], [outage(0)])
    back, _ = from_json(json.loads(json.dumps(to_json(given))))
    assert np.isnan(back.bearings[0].chance_left).all()


def test_of_a_refusal_and_a_pin_the_later_one_holds():
    job = {"bearing": "A/1", "action": "replace", "outage": "O1"}
    first = changed(_given(), None, [{"what": "refuse", **job}, {"what": "pin", **job}])
    assert first.refused == () and first.pinned == (Job("A/1", "replace", "O1"),)
    second = changed(_given(), None, [{"what": "pin", **job}, {"what": "refuse", **job, "action": ""}])
    assert second.pinned == () and second.refused == (Job("A/1", "", "O1"),)


def test_changes_move_jobs_and_leave_all_others_where_they_were():
    plan = (Job("A/1", "replace", "O0"), Job("B/1", "open", "O1"))
    said = [{"what": "move", "bearing": "A/1", "action": "replace", "outage": "O2"}]
    assert replayed(plan, said, _given()) == (Job("A/1", "replace", "O2"), Job("B/1", "open", "O1"))
    said.append({"what": "refuse", "bearing": "B/1", "outage": "O1"})
    assert replayed(plan, said, _given()) == (Job("A/1", "replace", "O2"),)
    gone = [
        {"what": "move", "bearing": "C/9", "action": "open", "outage": "O1"},
        {"what": "skip", "outage": "O9"},
    ]
    given = _given()
    assert replayed(plan, gone, given) == plan and changed(given, None, gone) is given


def test_outages_slip_shrink_and_fall_out_in_the_order_said():
    said = [
        {"what": "slip", "outage": "O0", "days": 30},
        {"what": "shorten", "outage": "O1", "hours": "12.5"},
        {"what": "skip", "outage": "O2"},
    ]
    made = changed(_given(), None, said)
    assert (made.outages[0].start_on - _given().outages[0].start_on).days == 30
    assert made.outages[1].crew_hours == 12.5 and made.outages[2].skipped


def test_the_worse_a_bearing_is_found_the_sooner_it_passes_and_past_the_maximum_it_has():
    given = _given()
    fine, worse, past = (if_it_read(given, LOOK, "A/1", um) for um in (200.0, 240.0, 320.0))
    assert (worse >= fine).all() and worse[20] > fine[20] + 0.1
    assert past[0] == 1.0 and np.all(np.diff(worse) >= -1e-12)
    even = np.interp(0.5, fine, given.days)  # 60 um at 4 um per 1000 h of 20 h a day
    assert even == pytest.approx(60 / 4 * 1000 / 20, rel=0.05)
    made = changed(given, LOOK, [{"what": "worse", "bearing": "A/1", "um": "240"}])
    assert made.bearings[1] == replace(given.bearings[1]) and made.bearings[0].opening is None
