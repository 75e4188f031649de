"""What else could be done with one bearing, and why some of it does not fit."""

import pytest

from dashboards.outage_plan.bearing_jobs.alternatives import alternatives
from dashboards.outage_plan.bearing_jobs.changes import move
from dashboards.outage_plan.bearing_jobs.evaluate import evaluate
from dashboards.outage_plan.bearing_jobs.inputs import Job, Spare
from tests.dashboards.outage_plan.bearing_jobs.small_plans import bearing, inputs, outage

PLAN = (Job("A/2", "replace", "O0"), Job("B/1", "replace", "O1"))


def _given(crew=(30, 100, 100), **more):
    rows = [bearing("A/1", 900), bearing("A/2", 700), bearing("B/1", 800)]
    return inputs(rows, [outage(k, h) for k, h in enumerate(crew)], **more)


def _by(found):
    return {(one.job.action, one.job.outage): one for one in found}


def test_leaving_comes_first_and_every_work_of_every_outage_follows():
    found = alternatives(PLAN, _given(), "A/1")
    assert found[0].job == Job("A/1", "leave") and len(found) == 1 + 2 * 3


def test_the_later_the_new_shell_the_likelier_it_comes_too_late():
    by = _by(alternatives(PLAN, _given(), "A/1"))
    late = [by["replace", f"O{t}"].chance_before for t in range(3)]
    assert late == sorted(late) and late[0] < 0.01 < late[2]
    assert all(by["replace", f"O{t}"].chance_end < by["leave", ""].chance_end for t in range(3))


def test_a_pump_that_is_open_already_needs_no_second_opening():
    by = _by(alternatives(PLAN, _given(), "A/1"))
    assert (by["replace", "O0"].needs_hours, by["replace", "O1"].needs_hours) == (16, 24)


def test_what_is_short_is_named_and_agrees_with_the_whole_plan_evaluated():
    given = _given()
    for one in alternatives(PLAN, given, "A/1")[1:]:
        faults = evaluate(move(PLAN, one.job), given).faults
        assert bool(one.lacking) == bool(faults), (one, faults)
    by = _by(alternatives(PLAN, given, "A/1"))
    assert by["replace", "O0"].lacking == "O0 has 6 of the 16 h it needs"
    assert by["open", "O0"].lacking == ""


def test_a_twin_or_a_missing_shell_is_named():
    twins = _given(crew=(100, 100, 100), twins=[("A", "B")])
    assert "its twin B is open" in _by(alternatives(PLAN, twins, "A/1"))["open", "O1"].lacking
    rows = [bearing("A/1", 900, shell_type="S"), bearing("B/1", 800)]
    bare = inputs(rows, [outage(0), outage(1)], spares=(Spare("S", lead_time_days=300.0),))
    by = _by(alternatives((), bare, "A/1"))
    assert "no shell S" in by["replace", "O0"].lacking and by["replace", "O1"].lacking == ""
    assert by["open", "O0"].lacking == ""


def test_a_scrape_is_offered_only_where_one_is_owed():
    actions = {one.job.action for one in alternatives(PLAN, _given(), "A/1")}
    assert "scrape" not in actions
    owed = inputs([bearing("A/1", 900, scrape_owed=True)], [outage(0)])
    assert ("scrape", "O0") in _by(alternatives((), owed, "A/1"))
    with pytest.raises(KeyError):
        alternatives(PLAN, _given(), "C/1")
