"""What a plan of pump openings does: its lines, triggers, hours, shells, what is above the risk and why, what
is short.
"""

import datetime as dt
import json
from dataclasses import replace

import numpy as np
import pytest

from dashboards.outage_plan.inputs_json import from_json, jobs_from_json, jobs_to_json, to_json
from dashboards.outage_plan.pump_openings.alternatives import alternatives
from dashboards.outage_plan.pump_openings.changes import changed, compare, replayed
from dashboards.outage_plan.pump_openings.coefficients import coefficients, column_at
from dashboards.outage_plan.pump_openings.evaluate import evaluate
from dashboards.outage_plan.pump_openings.inputs import BadInputs, Job
from dashboards.outage_plan.pump_openings.proposed import proposed
from dashboards.outage_plan.pump_openings.shell_orders import early_date, orders
from inspections.forecasts.judgement.judgement_figures import Why, Word
from tests.dashboards.outage_plan.pump_openings.small_plans import (
    AS_OF,
    SPARES,
    bearing,
    day,
    inputs,
    judged,
    outage,
)

SOON = judged([100, 130, 200, 300], [0.08, 0.3, 0.6, 0.8])
LATER = judged([120, 100, 130, 200], [0.01, 0.08, 0.3, 0.6])
LATE = judged([130, 120, 110, 100], [0.0, 0.01, 0.03, 0.06])
THREE = [outage(0), outage(1), outage(2)]


def plant(outages=THREE, **more):
    """Pumps wanted at once, at the second outage, after the horizon; the first with two bearings."""
    rows = [
        bearing("A DE", SOON, shell_type="S-1"),
        bearing("A NDE", replace(SOON, columns=tuple(replace(c, new=0.02) for c in SOON.columns))),
        bearing("B DE", LATER, shell_type="S-1"),
        bearing("C DE", LATE),
    ]
    return inputs(rows, outages, spares=SPARES, **more)


def jobs(given):
    return {job.bearing: job.outage for job in proposed(given).jobs}


def weighed(given):
    return evaluate(proposed(given).jobs, given)


def test_a_pump_is_opened_where_it_costs_least_and_all_its_bearings_are_looked_at():
    assert jobs(plant()) == {"A DE": "O0", "A NDE": "O0", "B DE": "O1"}
    made = weighed(plant())
    assert {job.action for job in made.jobs} == {"open"}
    first = made.jobs[0]
    assert first.crew_hours == pytest.approx(10 + 8 / 2) and first.trigger_um == 200
    # Two bearings of 2 h to measure, 8 to scrape and 12 to replace beside 8 h to open: at most 8 + 2 x 14,
    # and in 94 of 100 no more than one of them is renewed beside one closed up.
    assert (first.crew_hours_p90, first.crew_hours_most) == (24.0, 36.0)
    assert first.reason.startswith("Open in") and "replace from 200" in first.reason.replace("\u00a0", " ")
    assert made.loads[0].used_hours == pytest.approx(28) and made.loads[0].within_hours >= 28
    assert made.loads[0].new_shells == pytest.approx(0.42) and made.loads[0].shells_p90 == 1
    assert made.n_above_accepted == 0 and made.faults == ()


def test_the_openings_that_follow_are_named_with_their_pump_chance_and_hours():
    again = (0.0, 0.03, 0.6)
    first, second, *rest = SOON.columns
    soon = replace(SOON, columns=(replace(first, again=(*again, 0.0)), second, *rest))
    made = weighed(inputs([bearing("A DE", soon)], THREE, spares=SPARES))
    assert {job.outage for job in made.jobs} == {"O0"}
    assert [[(one.pump, one.first, one.chance) for one in load.again] for load in made.loads] == [
        [],
        [("A", "O0", pytest.approx(0.03))],
        [("A", "O0", pytest.approx(0.6))],
    ]
    assert made.loads[2].again_hours == pytest.approx(0.6 * 20)
    assert [one.at for load in made.loads for one in load.likely_again] == ["O2"]


def test_a_trigger_that_hardly_any_reading_meets_is_said_not_to_be_expected():
    _, other, *_ = weighed(plant()).jobs
    assert "which is not expected (2 in 100)" in other.reason.replace("\u00a0", " ")
    assert "it will be" not in other.reason and other.shell_type == ""


def test_short_hours_move_the_pump_that_loses_least_and_the_row_says_what_for_and_what_it_costs():
    rows = [
        bearing("A DE", SOON),
        bearing(
            "B DE",
            replace(
                SOON,
                columns=tuple(
                    replace(c, cost_h=cost)
                    for c, cost in zip(SOON.columns, (100.0, 110.0, 150.0, 300.0), strict=True)
                ),
            ),
        ),
    ]
    given = inputs(rows, [outage(0, crew_hours=25.0), outage(1), outage(2)])
    made = weighed(given)
    assert {job.bearing: job.outage for job in made.jobs} == {"A DE": "O0", "B DE": "O1"}
    moved = made.jobs[1]
    assert moved.waiting_h == pytest.approx(10)
    assert "moved for crew hours" in moved.reason and "10\u00a0h" in moved.reason
    (above,) = made.not_fitting
    assert (above.bearing, above.cause) == ("B DE", "no_hours") and "crew hours" in above.remedy


def test_an_outage_that_slips_takes_its_figures_from_the_line_between_its_neighbours():
    given = changed(plant(), [{"what": "slip", "outage": "O0", "days": 270}])
    c = coefficients(given)
    assert c.past[0, 0] == pytest.approx((0.08 + 0.3) / 2) and c.cost[0, 0] == pytest.approx(115)
    column = column_at(given.bearings[0], given.outages[0], AS_OF)
    assert column.start_on == day(0) + dt.timedelta(days=270) and column.trigger_um == 201
    early = changed(plant(), [{"what": "slip", "outage": "O0", "days": -90}])
    assert coefficients(early).past[0, 0] == pytest.approx(0.04)


def test_days_between_outages_cost_the_stop_and_open_nothing_that_is_left_closed_until_later():
    start = AS_OF + dt.timedelta(days=90)
    slot = outage(0, between=True, crew_hours=40.0, end_on=start + dt.timedelta(days=13))
    slot = replace(slot, name="before O0", start_on=start)
    past = replace(SOON, past_now=0.7, stopping_h=60.0, stop_h=5.0)
    rows = [bearing("A DE", past), bearing("B DE", replace(LATER, stopping_h=60.0))]
    given = inputs(rows, [slot, *THREE], twins=[("A", "B")])
    c = coefficients(given)
    assert c.cost[0, 0] == pytest.approx((40 + 100) / 2 + 5)
    assert c.takes[:, 0].tolist() == [True, False]
    made = weighed(given)
    assert made.jobs[0].outage == "before O0" and "the stop costs about 5 h" in made.jobs[0].reason


def test_twins_are_never_open_together_and_a_plan_that_puts_them_so_is_told():
    given = inputs([bearing("A DE", SOON), bearing("B DE", SOON)], THREE, twins=[("A", "B")])
    assert sorted(jobs(given).values()) == ["O0", "O1"]
    both = (Job("A DE", "open", "O0"), Job("B DE", "open", "O0"))
    (fault,) = evaluate(both, given).faults
    assert "its twin" in fault and "one must run" in fault


def test_what_is_frozen_keeps_the_accepted_scope_and_a_change_of_it_is_marked():
    frozen = [outage(0, scope_freeze_on=AS_OF), outage(1), outage(2)]
    given = plant(frozen, accepted=(Job("C DE", "open", "O0"),))
    assert jobs(given)["C DE"] == "O0" and jobs(given)["A DE"] != "O0"
    made = weighed(given)
    assert {one.cause for one in made.not_fitting if one.bearing.startswith("A")} == {"frozen"}
    (word,) = evaluate((), given).marked
    assert word == "O0: opening C DE was taken out after the freeze day."


def test_pins_refusals_and_what_undoes_them_hold_for_the_whole_pump():
    pin = {"what": "pin", "bearing": "A NDE", "action": "open", "outage": "O1"}
    given = changed(plant(), [pin])
    assert jobs(given)["A DE"] == "O1"
    assert {one.cause for one in weighed(given).not_fitting} == {"pinned"}
    no = {"what": "refuse", "bearing": "A DE", "outage": ""}
    assert "A NDE" not in jobs(changed(plant(), [no]))
    assert {one.cause for one in weighed(changed(plant(), [no])).not_fitting} == {"refused"}
    again = changed(plant(), [no | {"outage": "O1"}, pin])
    assert again.refused == () and again.pinned == (Job("A NDE", "open", "O1"),)
    gone = changed(plant(), [pin, no | {"outage": "O1"}])
    assert gone.pinned == () and len(gone.refused) == 1


def test_a_pin_of_a_plan_by_bearing_opens_the_pump_and_lets_the_reading_decide():
    old = {"what": "pin", "bearing": "C DE", "action": "replace", "outage": "O1"}
    assert jobs(changed(plant(), [old]))["C DE"] == "O1"


def test_a_moved_pump_is_priced_without_solving_and_left_closed_or_moved_back_by_the_next_change():
    given, first = plant(), proposed(plant()).jobs
    move = {"what": "move", "bearing": "A DE", "action": "open", "outage": "O2"}
    moved = replayed(first, [move], given)
    assert {job.outage for job in moved if job.bearing.startswith("A")} == {"O2"}
    found = compare(evaluate(first, given), evaluate(moved, given))
    assert found.cost == pytest.approx(100) and found.expected_passings == pytest.approx(2 * (0.6 - 0.08))
    assert [name for name, _, _ in found.moved] == ["A DE", "A NDE"]
    left = replayed(moved, [{"what": "move", "bearing": "A NDE", "action": "leave"}], given)
    assert {job.bearing for job in left} == {"B DE"}


def test_every_other_opening_of_a_pump_says_what_it_costs_more_and_what_it_lacks():
    given = plant([outage(0, crew_hours=0.0), outage(1), outage(2)])
    choices = {one.job.outage: one for one in alternatives(proposed(given).jobs, given, "A DE")}
    assert choices["O0"].waiting_h == 0 and "has no crew hours" in choices["O0"].lacking
    assert choices["O1"].waiting_h == pytest.approx(30) and choices["O1"].lacking == ""
    assert choices[""].chance_before == pytest.approx(0.8)


def test_a_bearing_that_follows_no_model_is_opened_at_the_next_outage_whatever_it_costs():
    odd = replace(LATE, word=Word.ENGINEER, why=Why.MISFIT, first=0)
    given = inputs([bearing("A DE", odd), bearing("B DE", LATE)], THREE)
    made = weighed(given)
    assert [(job.bearing, job.outage) for job in made.jobs] == [("A DE", "O0")]
    assert made.jobs[0].reason.startswith("Cannot say: the engineer decides")


def test_a_pump_opened_by_rule_that_is_moved_states_no_cost_of_waiting():
    odd = replace(LATE, word=Word.ENGINEER, why=Why.MISFIT, first=0)
    beside = replace(LATE, word=Word.OPEN, why=Why.BESIDE, first=0)
    rows = [bearing("A DE", odd), bearing("A NDE", beside)]
    _, other = weighed(inputs(rows, [outage(0, crew_hours=5.0), outage(1), outage(2)])).jobs
    assert other.outage == "O1" and "moved for crew hours" in other.reason
    assert "1000" not in other.reason and other.waiting_h == 0


def test_a_bearing_without_a_maximum_is_measured_with_its_pump_and_no_shell_is_ordered_for_it():
    bare = tuple(replace(c, new=None, hours=None, hours_var=None, past=None) for c in SOON.columns)
    unset = replace(SOON, columns=bare, word=Word.SET_LIMIT, why=Why.NO_MAXIMUM, first=None, limit_um=None)
    rows = [bearing("A DE", SOON, shell_type="S-1"), bearing("A NDE", unset, shell_type="S-1")]
    given = inputs(rows, THREE, spares=(replace(SPARES[0], on_hand=0),))
    made = weighed(given)
    assert {order.bearing for order in orders(made, given)} == {"A DE"}
    assert made.loads[0].used_hours == pytest.approx(8 + 10 + 2)


def test_the_hours_of_one_pump_and_of_its_outage_are_the_same_and_never_under_what_is_expected():
    rare = tuple(replace(c, new=0.05, scraped=0.0, hours=2.6, hours_var=6.8) for c in SOON.columns)
    for columns in (SOON.columns, rare):
        hours = 2 + 8 * columns[0].scraped + 12 * columns[0].new
        one = replace(SOON, columns=tuple(replace(c, hours=hours) for c in columns))
        made = weighed(inputs([bearing("A DE", one), bearing("A NDE", one)], THREE))
        job, load = made.jobs[0], made.loads[0]
        assert load.within_hours == pytest.approx(job.crew_hours_p90)
        assert job.crew_hours_p90 >= sum(line.crew_hours for line in made.jobs) - 1e-6


def test_what_is_past_today_stands_first_with_its_sentence():
    past = replace(SOON, word=Word.DECIDE_NOW, why=Why.PAST, past_now=0.9, stopping_h=44.0, stop_h=120.0)
    made = weighed(inputs([bearing("A DE", past, last_um=268.0, last_on=AS_OF)], THREE))
    ((name, words),) = made.decide_now
    assert name == "A DE" and "Decide now: run on with checks, or open" in words and "120\u00a0h" in words


def test_shells_are_ordered_for_whom_one_in_ten_readings_may_ask_and_by_the_early_date():
    given = replace(plant(), spares=(replace(SPARES[0], on_hand=0),))
    made = weighed(given)
    rows = orders(made, given)
    assert {order.bearing for order in rows} == {"A DE", "B DE"}
    early = early_date(given, "A DE")
    assert day(0) < early < day(1)
    assert rows[0].order_by == day(0) - dt.timedelta(days=60 + 14)


def test_a_shell_for_a_bearing_past_its_maximum_is_ordered_today_wherever_its_outage_slips():
    past = replace(LATER, word=Word.DECIDE_NOW, why=Why.PAST, past_now=0.9)
    rows = [bearing("A DE", past, shell_type="S-1")]
    given = inputs(rows, [outage(1), outage(2)], spares=(replace(SPARES[0], on_hand=0),))
    assert {order.order_by for order in orders(weighed(given), given)} == {AS_OF}


def test_a_shell_that_cannot_come_in_time_puts_the_pump_off_and_one_that_comes_back_serves_again():
    far = replace(plant(), spares=(replace(SPARES[0], on_hand=0, lead_time_days=400.0),))
    assert jobs(far)["A DE"] == "O1"
    one = replace(plant(), spares=(replace(SPARES[0], lead_time_days=9000.0),))
    assert "B DE" not in jobs(one)
    back = replace(one, relined_after_days={"S-1": 90.0})
    assert "B DE" in jobs(back)


def test_kept_inputs_come_back_the_same_and_those_of_a_plan_by_bearing_do_not():
    given = plant()
    back = from_json(json.loads(json.dumps(to_json(given))))
    plan = proposed(given).jobs
    assert back is not None and evaluate(plan, back).jobs == evaluate(plan, given).jobs
    assert back.outages == given.outages and back.pumps == given.pumps
    assert jobs_from_json(json.loads(json.dumps(jobs_to_json(plan)))) == plan
    assert from_json({"days": [0, 1], "bearings": [], "outages": [], "pumps": []}) is None


def test_inputs_that_contradict_themselves_are_refused_with_every_reason():
    with pytest.raises(BadInputs) as trouble:
        inputs([bearing("A DE", SOON), bearing("A DE", SOON)], [outage(0, crew_hours=float("nan"))])
    assert len(trouble.value.reasons) == 2


def test_an_accepted_plan_is_kept_while_it_costs_no_more_than_the_gap_and_planned_twice_nothing_moves():
    first = proposed(plant()).jobs
    assert proposed(plant(accepted=first)).jobs == first
    near = replace(
        SOON,
        columns=tuple(
            replace(c, cost_h=v) for c, v in zip(SOON.columns, (100.0, 100.01, 200.0, 300.0), strict=True)
        ),
    )
    given = inputs([bearing("A DE", near)], THREE, accepted=(Job("A DE", "open", "O1"),))
    assert jobs(given) == {"A DE": "O1"}
    assert np.isfinite(proposed(given).gap)
