"""What the benches count beside dates: true readings set aside, and bearings left closed that pass."""

from __future__ import annotations

import numpy as np

from inspections.wear.arrays import Kind
from inspections.wear.fit import fit_fleet

from .score import told, true_readings
from .worlds import World, make


def test_slips_set_aside_are_no_true_readings_set_aside():
    fleet = make(World(n=60, slip=0.1, slips=(25.4,)), 3)
    h, population = fleet.histories, fit_fleet(fleet.histories, carry=False)
    read, aside = true_readings(h, population, fleet.slips)
    every, left_out = true_readings(h, population, np.zeros(0))
    slips = np.isin(h.value_um, fleet.slips) & (h.kind == Kind.READING)
    assert slips.sum() > 20
    assert np.array_equal(every - read, np.bincount(h.owner[slips], minlength=60))
    assert aside.sum() <= 0.01 * read.sum()
    assert left_out.sum() > 0.8 * slips.sum()


def test_of_four_left_closed_one_passes_where_an_eighth_was_said():
    leave = np.array([True, True, True, True, False])
    passes, said = np.array([True, False, False, False, True]), np.full(5, 0.125)
    assert told(leave, passes, said) == "25.0/12.5 = 2.0 (4)"
    assert told(~leave & ~passes, passes, said) == "none left"


def test_a_fleet_whose_changes_are_written_after_all_differs_in_these_alone():
    silent = make(World(n=60, unwritten=0.3), 5)
    told = make(World(n=60, unwritten=0.3, written_after_all=True), 5)
    a, b = silent.histories, told.histories
    read = [h.value_um[h.kind == Kind.READING].tolist() for h in (a, b)]
    assert read[0] == read[1] and silent.true_kh.tolist() == told.true_kh.tolist()
    more = np.bincount(b.owner[b.kind == Kind.NEW_LIFE], minlength=60)
    more -= np.bincount(a.owner[a.kind == Kind.NEW_LIFE], minlength=60)
    assert ((more > 0) == silent.odd).all() and silent.odd.any()
    readings = np.bincount(a.owner[a.kind == Kind.READING], minlength=60)
    assert (silent.read_since[silent.odd] < readings[silent.odd]).all()
    assert silent.read_since.tolist() == told.read_since.tolist()
