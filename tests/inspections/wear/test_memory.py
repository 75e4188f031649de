"""What lives of one place say of each other, against closed Gaussian forms: any two are alike to rho, however
many lie between them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from inspections.wear import crossing, grid
from inspections.wear.arrays import build
from inspections.wear.belief import Rate, believe, evidence, rate_under
from inspections.wear.event_effects import Frame, Work, frame, lay_out
from inspections.wear.parameters import Params
from inspections.wear.path import Life, _by_whole_record
from inspections.wear.shape import OUTLYING_TIMES, spread

from .makers import LEAD, Kind, event, reading

RHO, LOC, TAU, NEW, NEW_SD, SD = 0.6, 3.0, 0.8, 130.0, 4.0, 5.0
LIVES = ([(6.0, 150.0), (12.0, 176.0)], [(5.0, 149.0), (14.0, 180.0)], [(4.0, 139.0)])


def three_lives() -> tuple[Frame, Work, Rate]:
    """Three lives of one place with normal rates: readings (kh since new, um)."""
    rows, begin = [], 0.0
    for life in LIVES:
        rows.append(event(Kind.NEW_LIFE, begin))
        rows += [reading(begin + u, y) for u, y in life]
        begin += life[-1][0]
    f = frame(build([({"fitting_um": NEW, "fresh": True}, rows)], [LEAD]))
    kind, n = f.histories.kind, len(rows)
    read, new = kind == Kind.READING, kind == Kind.NEW_LIFE
    op = np.where(read, grid.READ, grid.LIFE).astype(np.int8)
    op[0] = grid.LEVEL
    a = np.where(read, np.nan_to_num(f.histories.value_um), NEW)
    b = np.where(new, NEW_SD**2, SD**2)
    work = Work(op, a, b, np.zeros(n), np.full(1, NEW), np.full(1, NEW_SD**2))
    return f, work, Rate(np.array([LOC]), np.array([TAU]), np.array([RHO]), np.array([0.0]))


def closed_form(beyond: float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Mean and covariance of all readings, the readings, and their covariance with the third life's rate;
    ``beyond`` is what the place's variance has over that of the bulk, in tau^2.
    """
    life = np.repeat(np.arange(3), [len(x) for x in LIVES])
    u, y = (np.array([row[k] for x in LIVES for row in x]) for k in (0, 1))
    same = life[:, None] == life
    alike = TAU**2 * (beyond + np.where(same, 1.0, RHO))
    cov = alike * np.outer(u, u) + NEW_SD**2 * same + SD**2 * np.eye(len(u))
    return NEW + LOC * u, cov, y, u * TAU**2 * (beyond + np.where(life == 2, 1.0, RHO))


def test_the_evidence_of_three_lives_is_that_of_lives_all_alike_to_each_other():
    f, work, rate = three_lives()
    mean, cov, y, _ = closed_form()
    want = multivariate_normal(mean, cov).logpdf(y)
    assert evidence(f, work, rate, linear=True)[0] == pytest.approx(want, abs=1e-4)


def test_the_third_lifes_rate_rests_on_both_lives_before_it():
    f, work, rate = three_lives()
    mean, cov, y, with_rate = closed_form()
    gain = np.linalg.solve(cov, with_rate)
    cloud = believe(f, work, rate, np.zeros(1), linear=True)
    middle, between = cloud.moments(crossing.RATE)
    assert middle[0] == pytest.approx(LOC + gain @ (y - mean), abs=1e-3)
    assert between[0] == pytest.approx(TAU**2 - gain @ with_rate, rel=1e-2)


@pytest.mark.parametrize("share", [0.02, 0.1])
def test_where_some_places_are_outlying_three_lives_are_a_mixture_of_two_closed_forms(share):
    """A place is of the bulk or an outlying one, and all its lives with it: evidence and the third life's
    rate.
    """
    f, work, rate = three_lives()
    logs, middles = [], []
    for weight, beyond in ((1.0 - share, 0.0), (share, OUTLYING_TIMES**2 - 1.0)):
        mean, cov, y, with_rate = closed_form(beyond)
        logs.append(np.log(weight) + multivariate_normal(mean, cov).logpdf(y))
        middles.append(LOC + with_rate @ np.linalg.solve(cov, y - mean))
    mixed = replace(rate, outlying=share)
    assert evidence(f, work, mixed, linear=True)[0] == pytest.approx(np.logaddexp(*logs), abs=5e-3)
    of_bulk = 1.0 / (1.0 + np.exp(logs[1] - logs[0]))
    want = of_bulk * middles[0] + (1.0 - of_bulk) * middles[1]
    cloud = believe(f, work, mixed, np.zeros(1), linear=True)
    assert cloud.moments(crossing.RATE)[0][0] == pytest.approx(want, abs=5e-3)


@pytest.mark.parametrize("rho", [0.0, 0.2, 0.6, 0.9, 0.995])
@pytest.mark.parametrize("share", [0.0, 0.01, 0.1])
def test_lives_of_places_are_spread_as_the_fleet_is(rho, share):
    memory, z = grid.blank_memory(len(grid.NODES)), grid.NODES
    grid.remember(rho, z, spread((), z, share), memory)
    assert np.cumsum(memory.place @ memory.table[0]) == pytest.approx(norm.cdf(z + 0.0625), abs=2e-3)


def two_fast_lives(between: Kind) -> float:
    """um/kh expected of a third stretch, of which nothing is read, after two that wore four times as fast as
    its peers do (1 um/kh, spread 0.15); ``between``: what ended the second.
    """
    rows = [event(Kind.NEW_LIFE, 0.0), *[reading(u, NEW + 4.0 * u) for u in (0.0, 10.0, 20.0, 30.0)]]
    rows += [event(Kind.NEW_LIFE, 30.0), *[reading(30.0 + u, NEW + 4.0 * u) for u in (0.0, 10.0, 20.0, 30.0)]]
    f = frame(build([({"fitting_um": NEW, "fresh": True}, [*rows, event(between, 60.0)])], [LEAD]))
    p = Params(tau=0.15, rho=0.5, outlying=0.02, beta=0.1, method_sd={"lead wire": SD})
    cloud = believe(f, lay_out(f, p), rate_under(p, np.zeros(1), np.zeros(1)), np.zeros(1))
    return float(cloud.moments(crossing.RATE)[0][0])


def test_a_place_whose_shells_wear_four_times_as_fast_has_its_next_one_wear_so():
    assert two_fast_lives(Kind.NEW_LIFE) == pytest.approx(4.0, rel=0.1)


def test_after_a_rate_break_such_a_place_may_be_like_its_peers_again():
    """Half of the belief is drawn anew, so it is one of two: about 1 or about 4."""
    assert two_fast_lives(Kind.RATE_BREAK) == pytest.approx(2.5, abs=0.3)


def test_the_drawn_path_takes_each_lifes_rate_from_all_lives():
    z = grid.NODES
    said, sd = np.array([1.2, -0.4, 0.6]), np.array([0.5, 0.7, 1.5])
    memory = grid.blank_memory(len(z))
    grid.remember(RHO, z, spread((), z), memory)
    fresh = norm.pdf(z) / norm.pdf(z).sum()
    own = [Life(x / x.sum(), fresh, False) for x in fresh * norm.pdf(said[:, None], z, sd[:, None])]
    alike = np.where(np.eye(3) > 0, 1.0, RHO)
    want = alike @ np.linalg.solve(alike + np.diag(sd**2), said)
    got = [weights @ z for weights in _by_whole_record(own, memory)]
    assert got == pytest.approx(want, abs=1e-5)


def test_a_rate_break_keeps_the_level_as_the_closed_form_has_it():
    """Two stretches of rates alike to rho about a break, one level."""
    at, y = np.array([0.0, 8.0, 16.0, 24.0]), np.array([131.0, 150.0, 175.0, 190.0])
    rows = [reading(u, v) for u, v in zip(at[:3], y[:3], strict=True)]
    rows += [event(Kind.RATE_BREAK, 16.0), reading(24.0, y[3])]
    f = frame(build([({"fitting_um": NEW}, rows)], [LEAD]))
    op = np.array([grid.READ] * 3 + [grid.BREAK, grid.READ], dtype=np.int8)
    a = np.array([*y[:3], 0.0, y[3]])
    work = Work(op, a, np.full(5, SD**2), np.zeros(5), np.full(1, NEW), np.full(1, NEW_SD**2))
    rate = Rate(np.array([LOC]), np.array([TAU]), np.array([RHO]), np.array([0.0]))
    first, second = np.minimum(at, 16.0), np.maximum(at - 16.0, 0.0)
    both = np.outer(first, first) + np.outer(second, second)
    cross = np.outer(first, second) + np.outer(second, first)
    cov = TAU**2 * (both + RHO * cross) + NEW_SD**2 + SD**2 * np.eye(4)
    want = multivariate_normal(NEW + LOC * at, cov).logpdf(y)
    assert evidence(f, work, rate, linear=True)[0] == pytest.approx(want, abs=1e-4)


def test_lives_that_exclude_each_other_leave_a_finite_belief_that_the_last_one_speaks_for():
    """Rates of 4, 60 and 60 um/kh where a place keeps its rate nearly fully."""
    rows, begin = [], 0.0
    for pace in (4.0, 60.0, 60.0):
        rows.append(event(Kind.NEW_LIFE, begin))
        rows += [reading(begin + u, NEW + pace * u) for u in (10.0, 20.0, 30.0)]
        begin += 30.0
    f = frame(build([({"fitting_um": NEW, "fresh": True}, [*rows, event(Kind.NEW_LIFE, begin)])], [LEAD]))
    p = Params(tau=0.35, rho=0.995, method_sd={"lead wire": 2.0})
    cloud = believe(f, lay_out(f, p), rate_under(p, np.array([2.7]), np.zeros(1)), np.zeros(1))
    assert np.all(np.isfinite(cloud.parts))
    assert 40.0 < cloud.moments(crossing.RATE)[0][0] < 70.0
