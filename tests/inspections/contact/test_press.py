"""Patterns from a simulated press, read back: a small version of `python -m tests.bench.press`."""

from dataclasses import replace

import numpy as np
import pytest

from inspections.contact import read, turned
from tests.bench.press import (
    MARGIN,
    NAMED,
    STRAY,
    Press,
    expected,
    facts,
    gaps,
    label,
    named_presses,
    printed,
    random_presses,
    right,
    score,
)


@pytest.mark.parametrize("name", NAMED)
def test_the_named_presses_are_what_their_inputs_say(name):
    assert {label(p) for p in NAMED[name]} == {name}


def test_forty_named_presses_are_all_read_right_without_stray_taps():
    s = score(named_presses(), 5)
    assert sum(s.n.values()) == 40
    assert s.instead == {}


def test_a_shaft_lying_straight_touches_along_the_bottom_and_nowhere_else():
    gap = gaps(Press(clearance_um=200.0))
    rows = len(gap)
    assert np.ptp(gap, axis=1).max() == pytest.approx(0.0, abs=1e-9)
    assert gap[[0, -1]].min() == pytest.approx(100.0, rel=0.05)  # the radial clearance, at the joints
    assert gap[rows // 2 - 1 : rows // 2 + 1].max() < 0.5


def test_random_presses_are_read_right_with_one_cell_in_ten_marked_at_random():
    # The long run is the figure: 95 %. Its small version may miss by the luck of 400 draws.
    s = score(random_presses(400, 21, MARGIN), 21)
    assert s.share >= 0.93
    assert s.accepted <= 0.02


def test_no_pattern_reads_otherwise_when_its_shell_is_turned():
    rng = np.random.default_rng(2)
    for p in random_presses(150, 4, 0.0):
        cells, f = printed(p, rng), replace(facts(p), first_side="left")
        one, two = read(cells, f), read(turned(cells), f.turned())
        assert one == two


def test_a_wrong_reading_is_counted_as_wrong():
    # The measure itself must be able to fail: a tilted shaft's print told as a straight one's.
    p = Press(tilt_um=30.0)
    r = read(printed(replace(p, tilt_um=0.0), np.random.default_rng(0)), facts(p))
    assert expected(p) == ("one_end", "out", "alignment")
    assert not right(p, r)


def test_stray_cells_are_one_in_ten():
    rng = np.random.default_rng(1)
    p = Press(rows=40, columns=40)
    clean, stray = printed(p, rng), printed(replace(p, stray=STRAY), rng)
    assert (clean != stray).mean() == pytest.approx(STRAY * 2 / 3, abs=0.02)
