"""The spread of rates beyond the normal bell: what the bend keeps, and what it finds in a
fleet of two kinds.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear import grid
from inspections.wear.fit import fit_fleet
from inspections.wear.shape import KNOTS, bent
from tests.bench.worlds import WORLDS, make, smaller

WARPS = [(0.0,) * len(KNOTS), (0.5, -0.3, 0.2, 0.0, 1.5, -0.7, 0.4), (-1.0,) * 6 + (2.0,)]


def test_without_a_warp_the_nodes_are_the_very_nodes():
    assert bent((), grid.NODES) is grid.NODES


@pytest.mark.parametrize("warp", WARPS)
def test_a_bend_is_monotone_keeps_the_median_and_has_unit_variance(warp):
    x = bent(warp, grid.NODES)
    weight = np.exp(-0.5 * grid.NODES**2)
    weight /= weight.sum()
    assert (np.diff(x) > 0).all() and abs(x[48]) < 1e-12
    assert weight @ (x - weight @ x) ** 2 == pytest.approx(1.0, abs=2e-3)


def test_a_flat_warp_of_any_height_is_the_normal_bell():
    assert bent((0.7,) * len(KNOTS), grid.NODES) == pytest.approx(grid.NODES, abs=1e-6)


def test_a_finer_grid_sees_the_same_bend():
    fine = np.linspace(-6, 6, 385)
    assert bent(WARPS[1], fine)[::4] == pytest.approx(bent(WARPS[1], grid.NODES), abs=2e-3)


def test_a_fleet_of_two_kinds_shows_its_gap_and_a_plain_one_hardly_bends():
    two = fit_fleet(make(smaller(WORLDS["two kinds"], 500), 6).histories).main
    assert two.converged
    p = two.designs[0]
    slope = np.diff(bent(p.warp, grid.NODES, p.outlying)) / np.diff(grid.NODES)
    gap = float(grid.NODES[int(np.argmax(slope))])
    assert slope.max() > 3.0 and 0.5 < gap < 1.8  # the fast sixth begins at z = 1
    plain = fit_fleet(make(smaller(WORLDS["plain"], 500), 6).histories).main
    middle = np.abs(grid.NODES) < 2
    assert np.abs(bent(plain.designs[0].warp, grid.NODES) - grid.NODES)[middle].max() < 0.35


def test_a_small_fleet_is_not_asked_for_a_shape():
    assert fit_fleet(make(smaller(WORLDS["plain"], 40), 6).histories, carry=False).main.designs[0].warp == ()
