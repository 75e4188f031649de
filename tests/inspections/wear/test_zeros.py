"""Wall and shaft drop with a zero of their own, the lining left as a limit, and why a visit was made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from inspections.wear import grid
from inspections.wear.advice import OUTCOMES, REPLACE_FROM
from inspections.wear.arrays import Kind, Method, build
from inspections.wear.belief import Rate, believe, evidence
from inspections.wear.event_effects import frame, lay_out
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.parameters import Params
from inspections.wear.path import path
from inspections.wear.shape import spread
from inspections.wear.zeros import FREE_UM, run_joint
from tests.bench.worlds import WORLDS, make, smaller

from .makers import LEAD, event, reading, steady_fleet

FACTS = {"fitting_um": 130.0, "limit_um": 260.0}
WALL = Method("crown thickness", 5.0)
BETA, RATE_ = 3.0, 2.0


def drop(u: float, value: float, zero: int = 0):
    return {"kind": Kind.DROP, "exposure_kh": u, "value_um": value, "zero": zero, "method": 1}


def sure_rate(n: int) -> Rate:
    """A rate known beforehand, so that everything is one normal distribution."""
    return Rate(np.full(n, np.log(RATE_)), np.full(n, 1e-7), np.zeros(n), np.full(n, BETA))


def test_the_evidence_of_a_wall_series_is_the_closed_gaussian_form():
    """Clearance and two walls of a known rate: mean r u, covariance beta r min(u, u'), each wall with its own
    offset.
    """
    kh = np.array([0.0, 5.0, 5.0, 9.0, 9.0, 9.0, 14.0, 20.0])
    series = np.array([0, 0, -1, 0, 1, -1, 1, -1])
    value = np.array([0.0, 12.0, 139.0, 17.0, 0.0, 146.0, 11.0, 171.0])
    rows = [event(Kind.NEW_LIFE, 0.0)]
    rows += [
        reading(u, y) if s < 0 else drop(u, y, int(s)) for u, y, s in zip(kh, value, series, strict=True)
    ]
    f = frame(build([(FACTS, rows)], [LEAD, WALL]))
    p = Params(method_sd={"lead wire": 10.0, "crown thickness": 5.0})
    sd, _ = p.of_methods(f.histories.methods)
    cov = 13.0**2 + BETA * RATE_ * np.minimum.outer(kh, kh)
    for k in (0, 1):
        cov = cov + FREE_UM**2 * np.outer(series == k, series == k)
    cov = cov + np.diag(np.where(series < 0, sd[0], sd[1]) ** 2)
    want = multivariate_normal(130.0 + RATE_ * kh, cov).logpdf(value)
    assert evidence(f, lay_out(f, p), sure_rate(1))[0] == pytest.approx(want, abs=1e-6)


def test_the_way_with_zeros_and_the_way_without_agree_where_there_is_no_wall():
    rows = [event(Kind.NEW_LIFE, 0.0), reading(8, 150), event(Kind.SCRAPE, 8.0), reading(8, 160)]
    rows += [{"kind": Kind.INTERVAL, "exposure_kh": 15.0, "low_um": 170.0, "high_um": np.inf, "method": 0}]
    rows += [event(Kind.RATE_BREAK, 15.0), reading(20, 180), event(Kind.NEW_LIFE, 20.0), reading(31, 150)]
    f = frame(build([(FACTS, rows)], [LEAD]))
    p = Params()
    work, z = lay_out(f, p), grid.NODES
    r = np.exp(0.7 + 0.5 * z)
    memory = grid.blank_memory(len(z))
    grid.remember(0.5, z, spread((), z), memory)
    one = [np.full(len(z), work.m0[0]), np.full(len(z), work.v0[0]), -0.5 * z * z]
    other = [x.copy() for x in one]
    told = (work.op, f.du, work.a, work.b, work.c, work.jump, work.jump_var)
    n = len(work.op)
    fresh = np.exp(-0.5 * z * z) / np.sum(np.exp(-0.5 * z * z))
    a = grid.run_one(*told, 0, n, r, memory, np.stack([memory.place, fresh]), 1.0, *one, np.ones(len(z)))
    b = run_joint(*told, work.zero, 0, n, r, memory, np.stack([memory.place, fresh]), 1.0, *other)
    for x, y in zip(one, other, strict=True):
        assert x == pytest.approx(y, rel=1e-9, abs=1e-9)
    assert a == pytest.approx(b, abs=1e-9)


def test_a_wall_read_each_time_narrows_the_rate_and_its_zero_does_not_matter():
    new = event(Kind.NEW_LIFE, 0.0)
    rows = [new, reading(0, 130), reading(10, 152), reading(20, 171)]
    walls = [drop(0, 0.0), drop(10, 20.0), drop(20, 40.0)]
    both = [row for pair in zip(rows[1:], walls, strict=True) for row in pair]
    moved = [
        row | {"value_um": row["value_um"] + 7000.0} if row["kind"] == Kind.DROP else row for row in both
    ]
    h = build([(FACTS, rows), (FACTS, [new, *both]), (FACTS, [new, *moved])], [LEAD, WALL])
    fleet = steady_fleet(30)
    population = fit_fleet(replace(fleet, methods=h.methods))
    result = forecast(h, population)
    width = np.diff(np.log(result.rate_um_per_kh[:, [0, 2]]), axis=1)[:, 0]
    assert width[1] < 0.8 * width[0]
    assert result.own_evidence[1] > result.own_evidence[0]
    # 7 mm off its zero against a free offset of 10 mm: a prior of no weight, not of none
    assert result.max_days[2] == pytest.approx(result.max_days[1], rel=2e-3)
    drawn = path(h, population, 1, np.array([0.0]))
    assert drawn.fan[0, 3] == pytest.approx(result.clearance_um[1, 1], abs=0.1)
    assert drawn.after.shape == (7, 3)


def test_another_shell_lets_go_of_the_walls_zero():
    """The new shell's wall begins at any value: it must say nothing of the level."""
    head = [event(Kind.NEW_LIFE, 0.0), drop(0.0, 0.0), drop(10.0, 25.0), event(Kind.NEW_LIFE, 10.0)]
    h = build([(FACTS, [*head, drop(10.0, v), drop(20.0, v + 20.0)]) for v in (0.0, -400.0)], [LEAD, WALL])
    f = frame(h)
    cloud = believe(
        f, lay_out(f, Params()), Rate(*(np.full(2, x) for x in (0.7, 0.5, 0.5, 1.0))), np.zeros(2)
    )
    level = cloud.moments(1)[0]
    assert level[0] == pytest.approx(level[1], abs=0.05)


def test_the_lining_left_gives_a_limit_and_the_lower_one_rules():
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 4)]
    facts = {**FACTS, "limit_um": 400.0}
    thin = {"lining_left_um": 90.0, "lining_at_kh": 20.0}
    h = build(
        [
            (facts, rows),
            (facts | thin, rows),
            (facts | thin | {"lining_left_um": 900.0}, rows),
            (facts | thin | {"replace_um": 150.0}, rows),
            (thin | {"fitting_um": 130.0}, rows),
        ],
        steady_fleet(1).methods,
    )
    result = forecast(h, fit_fleet(steady_fleet(30)))
    words = [REPLACE_FROM[k] for k in result.replace_limit_from]
    assert words == ["derived", "lining", "derived", "plant", "lining"]
    # at 20 kh the clearance was about 170; the lining is used up 90 um later, less a scrape and the wear
    # after it
    spent = 400.0 - result.replace_limit_um[0]
    assert result.replace_limit_um[1] + spent == pytest.approx(260.0, abs=6.0)
    assert result.replace_days[1, 1] < result.replace_days[0, 1]
    assert np.array_equal(result.max_days[0], result.max_days[1])
    assert OUTCOMES[result.outcome[4]] == "ok" and np.isfinite(result.replace_days[4]).all()


def test_why_visits_were_made_is_learned_and_moves_what_is_believed():
    """Truth: visits for a cause grow likely about 40 um under the maximum, 0.69 of the
    room from new to it.
    """
    params = fit_fleet(make(smaller(WORLDS["why recorded"], 400), 3).histories, carry=False).main.designs[0]
    assert params.opened[0] == pytest.approx(0.69, abs=0.12)
    head = [event(Kind.NEW_LIFE, 0.0), reading(0.0, 130.0)]
    rows = [[*head, event(Kind.OPENED, 25.0, value_um=why)] for why in (0.0, np.nan, 1.0)]
    f = frame(build([(FACTS, row) for row in rows], [LEAD]))
    rate = Rate(*(np.full(3, x) for x in (0.7, 0.6, 0.5, 1.0)))
    level = believe(f, lay_out(f, params), rate, np.zeros(3)).moments(1)[0]
    assert level[0] < level[1] < level[2]


def test_reasons_that_nobody_wrote_down_are_not_learned():
    assert (
        fit_fleet(make(smaller(WORLDS["opened because bad"], 60), 3).histories, carry=False)
        .main.designs[0]
        .opened
        == ()
    )
