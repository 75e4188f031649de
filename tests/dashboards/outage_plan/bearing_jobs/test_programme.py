"""The programme finds the best plan, keeps every bound and says what is short."""

import datetime as dt
import itertools
from dataclasses import replace

import numpy as np
import pytest

from dashboards.outage_plan.bearing_jobs.evaluate import evaluate
from dashboards.outage_plan.bearing_jobs.inputs import (
    ACTIONS,
    LEAVE,
    OPEN,
    REPLACE,
    SCRAPE,
    BadInputs,
    Job,
    Opening,
    Outage,
    Settings,
    Spare,
)
from dashboards.outage_plan.bearing_jobs.layout import lay_out
from dashboards.outage_plan.bearing_jobs.programme import STEPS, NoPlan, solve
from tests.dashboards.outage_plan.bearing_jobs.small_plans import AS_OF, bearing, inputs, outage


def worth(value, n, follow=None):
    return Opening(
        np.full(n, float(value)),
        np.full(n, 0.03),
        np.full(n, 0.4),
        np.zeros((n, n)) if follow is None else follow,
    )


def small(number):
    """Four bearings on three pumps, three outages: tight hours, two shell types, twins, one owed scrape."""
    rng = np.random.default_rng(number)
    names = ["A/DE", "A/NDE", "B/DE", "C/DE"]
    made = [
        bearing(
            name,
            float(rng.uniform(300, 1500)),
            shell_type=f"S{k % 2}",
            scrape_owed=k == 3,
            consequence=float(rng.choice([60, 300])),
            opening=worth(rng.uniform(0, 150), 3) if k % 2 else None,
        )
        for k, name in enumerate(names)
    ]
    outages = [outage(t, float(rng.integers(25, 70))) for t in range(3)]
    spares = [
        Spare("S0", on_hand=1, lead_time_days=400, may_order=1),
        Spare("S1", on_hand=int(rng.integers(0, 2)), due_back=((dt.date(2027, 1, 1), 1),)),
    ]
    return inputs(made, outages, twins=[("A", "B")], spares=tuple(spares), relined_after_days={"S0": 300.0})


def with_slot(number):
    """The same with days between the first two outages for the twins, and halves that come back relined apart."""
    given = small(number)
    slot = Outage(
        "between O0 and O1",
        AS_OF + dt.timedelta(days=360),
        AS_OF + dt.timedelta(days=373),
        30.0,
        pumps=frozenset("AB"),
        between=True,
    )
    o0, o1, o2 = given.outages
    bearings = tuple(
        replace(b, opening=worth(40 * i, 4) if b.opening else None) for i, b in enumerate(given.bearings)
    )
    return replace(
        given,
        bearings=bearings,
        outages=(o0, slot, replace(o1, crew_hours=24.0), o2),
        relined_after_days={"S0 lower": 300.0, "S0 upper": 150.0, "S1": 200.0},
    )


def best_by_trying(given):
    """Every plan there is, each judged by `evaluate`, which knows nothing of the programme."""
    layout, best = lay_out(given), np.inf
    choices = []
    for i, b in enumerate(given.bearings):
        mine = [None]
        for action in ACTIONS:
            mine += [
                Job(b.name, action, o.name)
                for t, o in enumerate(given.outages)
                if layout.offered[action][i, t]
            ]
        choices.append(mine)
    for plan in itertools.product(*choices):
        jobs = tuple(j for j in plan if j)
        room = np.zeros(len(given.outages))
        for j in jobs:
            room[given.outage_at[j.outage]] += layout.hours[j.action][given.bearing_at[j.bearing]]
        if np.any(room > [o.crew_hours for o in given.outages]):
            continue
        seen = evaluate(jobs, given)
        if not seen.faults:
            best = min(best, seen.cost)
    return best


@pytest.mark.parametrize("given", [small(1), small(2), with_slot(1), with_slot(2), with_slot(5)])
def test_the_small_case_is_the_best_of_all_plans_there_are(given):
    plan = solve(given, gap=0.0)
    found = best_by_trying(given)
    assert plan.cost == pytest.approx(found, rel=1e-6)
    assert plan.cost == pytest.approx(evaluate(plan.jobs, given).cost, rel=1e-9)
    assert plan.gap < 1e-6
    assert plan.jobs, "the case must have work, or it proves nothing"


def test_the_small_cases_use_days_between_outages_and_relined_shells():
    plans = {n: solve(with_slot(n), gap=0.0) for n in (1, 2, 5)}
    assert any(j.outage.startswith("between") for p in plans.values() for j in p.jobs)
    sources = {x.source for n, p in plans.items() for x in evaluate(p.jobs, with_slot(n)).shells}
    assert "relined" in sources


def test_twins_are_not_opened_in_the_same_days_between_outages_and_an_opening_there_costs_more():
    slot = Outage(
        "between O0 and O1",
        AS_OF + dt.timedelta(days=360),
        AS_OF + dt.timedelta(days=373),
        100.0,
        pumps=frozenset("AB"),
        between=True,
    )
    two = [bearing("A/DE", 600.0), bearing("B/DE", 600.0)]
    given = inputs(two, [outage(0, 0.0), slot, outage(1, 0.0)], twins=[("A", "B")])
    assert [j.outage for j in solve(given).jobs] == ["between O0 and O1"]
    third = evaluate(solve(given).jobs, given).not_fitting[0]
    assert third.cause == "twin" and "between O0 and O1" in third.reason
    alone = replace(given, outages=(outage(0), replace(slot, pumps=frozenset("A")), outage(1)))
    assert all(j.bearing == "A/DE" for j in solve(alone).jobs if j.outage == slot.name)
    one = inputs([bearing("A/DE", 9000.0)], [slot])
    pinned = evaluate((Job("A/DE", REPLACE, slot.name),), one)
    outside = evaluate(
        (Job("A/DE", REPLACE, slot.name),), replace(one, outages=(replace(slot, between=False),))
    )
    assert pinned.cost - outside.cost == pytest.approx(0.5 * 8)
    assert pinned.loads[0].used_hours == outside.loads[0].used_hours


def test_the_same_inputs_give_the_same_plan():
    assert solve(small(3)) == solve(small(3))


def test_the_solver_tells_its_steps_in_order_and_how_good_the_plan_is():
    told = []
    quiet, loud = solve(small(3), gap=0.0), solve(small(3), gap=0.0, tell=lambda *said: told.append(said))
    assert quiet == loud
    steps = [step for step, _ in told]
    assert steps == sorted(steps) and steps[0] == 1 and steps[-1] <= STEPS
    assert "jobs are laid out" in told[0][1]


def test_halves_of_equal_stock_are_counted_apart_when_only_one_comes_back_relined():
    two = [bearing("A/DE", 400.0, shell_type="S"), bearing("B/DE", 800.0, shell_type="S")]
    given = inputs(two, [outage(0), outage(1)], spares=(Spare("S", on_hand=1),))
    assert len(solve(replace(given, relined_after_days={"S lower": 300.0})).jobs) == 1


def test_a_job_goes_into_the_last_outage_before_the_early_date():
    # 1 in 10 by day 0.68 * 1200 = 817: the outages are on days 180, 545 and 910.
    plan = solve(inputs([bearing("A/DE", 1200.0)], [outage(t) for t in range(3)]))
    assert plan.jobs == (Job("A/DE", REPLACE, "O1"),)


def test_no_bearing_stays_above_the_accepted_risk_to_save_its_work():
    # 13 in 100 by the end, and a shell that costs forty times the consequence.
    dear = bearing("A/DE", 1270.0, consequence=10.0, shell_cost=400.0)
    given = inputs([dear], [outage(0), outage(1)])
    assert evaluate((), given).n_above_accepted == 1
    assert solve(given).jobs == (Job("A/DE", REPLACE, "O1"),)
    loose = replace(given, settings=Settings(accepted_risk=0.9))
    assert solve(loose).jobs == ()


def test_bearings_of_one_pump_are_opened_together_when_the_lift_costs_enough():
    both = [bearing("A/DE", 1200.0), bearing("A/NDE", 1800.0)]
    outages = [outage(t) for t in range(3)]
    dear = solve(inputs(both, outages, settings=Settings(hour_cost=2.0)))
    cheap = solve(inputs(both, outages, settings=Settings(hour_cost=0.01)))
    assert {j.outage for j in dear.jobs} == {"O1"}
    assert {j.outage for j in cheap.jobs} == {"O1", "O2"}


def test_twins_are_never_open_in_outages_that_overlap():
    two = [bearing("A/DE", 500.0), bearing("B/DE", 500.0)]
    shifted = Outage(
        "side", AS_OF + dt.timedelta(days=185), AS_OF + dt.timedelta(days=190), 100.0, pumps=frozenset("B")
    )
    given = inputs(two, [outage(0), shifted, outage(1)], twins=[("A", "B")])
    first = [j for j in solve(given).jobs if j.outage in ("O0", "side")]
    assert len(first) == 1
    assert (
        evaluate((Job("A/DE", REPLACE, "O0"), Job("B/DE", REPLACE, "side")), given)
        .faults[0]
        .endswith("one must run.")
    )


def test_a_shell_that_cannot_arrive_in_time_holds_the_job_back():
    one = [bearing("A/DE", 900.0, shell_type="S")]
    outages = [outage(t) for t in range(3)]
    there = solve(inputs(one, outages, spares=(Spare("S", on_hand=1),)))
    late = solve(inputs(one, outages, spares=(Spare("S", lead_time_days=600),)))
    half = solve(inputs(one, outages, spares=(Spare("S", half="lower", on_hand=1),)))
    assert there.jobs == (Job("A/DE", REPLACE, "O1"),)
    assert late.jobs == (Job("A/DE", REPLACE, "O2"),)
    assert half.jobs == ()


def test_a_shell_of_another_bore_does_not_fit_but_one_to_be_bored_does():
    one = [bearing("A/DE", 500.0, shell_type="S", bore_um=110_000.0)]
    for bore, fits in ((110_250.0, False), (110_005.0, True), (None, True)):
        plan = solve(inputs(one, [outage(0)], spares=(Spare("S", bore_um=bore, on_hand=1),)))
        assert bool(plan.jobs) == fits, bore


def test_unbored_shells_given_to_one_bore_are_gone_for_the_other():
    two = [bearing(f"{p}/DE", 500.0, shell_type="S", bore_um=bore) for p, bore in (("A", 1e5), ("B", 1.2e5))]
    stock = (Spare("S", bore_um=1e5, on_hand=0), Spare("S", bore_um=1.2e5, on_hand=0), Spare("S", on_hand=1))
    assert len(solve(inputs(two, [outage(0)], spares=stock)).jobs) == 1


def test_a_shell_that_comes_out_serves_again_when_relined_in_time():
    two = [bearing("A/DE", 400.0, shell_type="S"), bearing("B/DE", 800.0, shell_type="S")]
    given = inputs(two, [outage(0), outage(1)], spares=(Spare("S", on_hand=1),))
    assert len(solve(given).jobs) == 1
    assert len(solve(replace(given, relined_after_days={"S": 300.0})).jobs) == 2
    assert len(solve(replace(given, relined_after_days={"S": 360.0})).jobs) == 1


def test_a_half_that_comes_back_serves_only_where_the_other_half_is_there_too():
    two = [bearing("A/DE", 400.0, shell_type="S"), bearing("B/DE", 800.0, shell_type="S")]
    given = inputs(
        two, [outage(0), outage(1)], spares=(Spare("S", "lower", on_hand=1), Spare("S", "upper", on_hand=2))
    )
    assert len(solve(given).jobs) == 1
    assert len(solve(replace(given, relined_after_days={"S upper": 300.0})).jobs) == 1
    plan = solve(replace(given, relined_after_days={"S lower": 300.0}))
    assert len(plan.jobs) == 2
    shells = evaluate(plan.jobs, replace(given, relined_after_days={"S lower": 300.0})).shells
    assert [(x.family, x.source) for x in shells if x.outage == 1] == [
        ("S lower", "relined"),
        ("S upper", "on hand"),
    ]


def test_an_opening_is_planned_for_its_value_and_keeps_the_shell_that_may_follow():
    follow = np.zeros((2, 2))
    follow[0, 1] = 0.5
    one = bearing(
        "A/DE", 2500.0, shell_type="S", opening=replace(worth(0, 2, follow), value=np.array([40.0, 10.0]))
    )
    given = inputs([one], [outage(0), outage(1)], spares=(Spare("S", on_hand=1),))
    assert solve(given).jobs == (Job("A/DE", OPEN, "O0"),)
    assert solve(replace(given, spares=())).jobs != (Job("A/DE", OPEN, "O0"),)
    assert evaluate(solve(given).jobs, given).loads[1].expected_hours == 24.0


def test_a_scrape_is_planned_only_where_one_is_owed():
    plain, owed = bearing("A/DE", 9000.0), bearing("B/DE", 9000.0, scrape_owed=True)
    given = inputs([plain, owed], [outage(0), outage(1)])
    assert solve(given).jobs == (Job("B/DE", SCRAPE, "O0"),)
    hard = inputs([plain, replace(owed, scrapeable=False)], [outage(0), outage(1)])
    assert solve(hard).jobs == (Job("B/DE", REPLACE, "O0"),)


def test_a_pin_and_a_refusal_are_kept():
    given = inputs([bearing("A/DE", 1200.0)], [outage(t) for t in range(3)])
    assert solve(replace(given, pinned=(Job("A/DE", REPLACE, "O2"),))).jobs[0].outage == "O2"
    assert solve(replace(given, pinned=(Job("A/DE", LEAVE),))).jobs == ()
    assert solve(replace(given, refused=(Job("A/DE", "", "O1"),))).jobs[0].outage == "O0"


def test_a_frozen_outage_keeps_the_accepted_jobs_and_takes_no_new_ones():
    two = [bearing("A/DE", 9000.0), bearing("B/DE", 300.0)]
    frozen = outage(0, scope_freeze_on=AS_OF)
    given = inputs(two, [frozen, outage(1)], accepted=(Job("A/DE", REPLACE, "O0"),))
    assert solve(given).jobs == (Job("A/DE", REPLACE, "O0"), Job("B/DE", REPLACE, "O1"))
    open_still = inputs(two, [outage(0), outage(1)], accepted=(Job("A/DE", REPLACE, "O0"),))
    assert solve(open_still).jobs == (Job("B/DE", REPLACE, "O0"),)


def test_pins_beyond_the_crew_hours_name_the_outage_and_the_hours_short():
    two = [bearing("A/DE", 500.0), bearing("B/DE", 500.0)]
    pins = (Job("A/DE", REPLACE, "O0"), Job("B/DE", REPLACE, "O0"))
    with pytest.raises(NoPlan) as refused:
        solve(inputs(two, [outage(0, crew_hours=40)], pinned=pins))
    assert refused.value.shortages == ["O0: 8 h short of crew (40 h are there)."]


def test_pins_without_shells_or_on_twins_say_which():
    two = [bearing("A/DE", 500.0, shell_type="S"), bearing("B/DE", 500.0)]
    pins = (Job("A/DE", REPLACE, "O0"), Job("B/DE", REPLACE, "O0"))
    with pytest.raises(NoPlan) as refused:
        solve(inputs(two, [outage(0)], pinned=pins[:1], spares=(Spare("S", half="upper", on_hand=1),)))
    assert refused.value.shortages == ["O0: 1 shell(s) S lower short."]
    free = [replace(two[0], shell_type=""), two[1]]
    with pytest.raises(NoPlan, match="A and its twin B are both pinned; one must run"):
        solve(inputs(free, [outage(0)], pinned=pins, twins=[("A", "B")]))
    elsewhere = outage(0, pumps=frozenset("B"))
    with pytest.raises(NoPlan, match="A/DE is pinned into O0, but A is not in that outage"):
        solve(inputs(two, [elsewhere], pinned=pins[:1]))


def test_pins_of_bored_shells_beyond_the_stock_are_named_too():
    one = [bearing(f"{p}/DE", 500.0, shell_type="S", bore_um=1e5) for p in "AB"]
    pins = tuple(Job(b.name, REPLACE, "O0") for b in one)
    with pytest.raises(NoPlan) as refused:
        solve(inputs(one, [outage(0)], pinned=pins, spares=(Spare("S", bore_um=1e5, on_hand=1),)))
    assert refused.value.shortages == ["O0: 1 shell(s) S lower and upper short."]


def test_inputs_that_contradict_themselves_are_refused_with_all_reasons():
    pins = (Job("A/DE", REPLACE, "O0"), Job("A/DE", OPEN, "O0"), Job("X/DE", OPEN, "O9"))
    with pytest.raises(BadInputs) as refused:
        inputs([bearing("A/DE", 500.0, consequence=-1.0)], [outage(0)], pinned=pins)
    assert len(refused.value.reasons) == 4
    assert "A/DE is pinned twice" in refused.value.reasons[-1]
