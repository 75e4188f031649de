"""The grid of cells and the eight drawings."""

import numpy as np
import pytest

from inspections.contact import NAMES, PatternError, checked, named, text, turned
from tests.conftest import CHECKOUT

SIZES = [(3, 3), (5, 7), (4, 6), (5, 9), (6, 8), (7, 11), (9, 15), (40, 40)]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", NAMES)
def test_every_drawing_has_the_size_that_was_asked_for(name, size):
    grid = named(name, *size)
    assert grid.shape == size
    assert set(np.unique(grid)) <= {0, 1, 2}
    assert grid.any() != (name == "nothing")


@pytest.mark.parametrize("size", SIZES)
def test_the_other_end_is_the_one_end_turned_at_every_size(size):
    assert (turned(named("one_end", *size)) == named("other_end", *size)).all()


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", ["full_length", "both_ends", "flooded", "narrow", "diagonal"])
def test_what_has_no_end_looks_the_same_turned(name, size):
    assert (turned(named(name, *size)) == named(name, *size)).all()


def test_turning_twice_gives_the_pattern_back():
    grid = named("patchy")
    assert (turned(turned(grid)) == grid).all()
    assert (turned(grid) != grid).any()


def test_a_pattern_can_be_read_without_seeing_it():
    assert text(named("both_ends")).splitlines()[1:4] == ["#.....#", "#+...+#", "#.....#"]


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ([[0, 1, 2], [0, 3, 0], [0, 0, 0]], "Row 2, column 2 holds 3"),
        ([[0, 1, 0.5], [0, 0, 0], [0, 0, 0]], "Row 1, column 3 holds 0.5"),
        ([[0, 1, np.nan], [0, 0, 0], [0, 0, 0]], "Row 1, column 3 holds nan"),
        ([[0, 1], [0, 1]], "2 rows and 2 columns"),
        (np.zeros((5, 41)), "5 rows and 41 columns"),
        ([0, 1, 2], "1 dimensions"),
        ([[0, 1, 2], [0, 1]], "rows of one length"),
        ([["a", 1, 2]] * 3, "not a table of numbers"),
        (None, "0 dimensions"),
    ],
)
def test_what_is_no_pattern_is_refused_with_what_was_found(cells, words):
    with pytest.raises(PatternError, match=words):
        checked(cells)


def test_an_unknown_drawing_is_refused_with_the_known_ones():
    with pytest.raises(PatternError, match="full_length, both_ends, one_end"):
        named("sideways")


def test_reading_a_pattern_loads_no_django():
    import subprocess
    import sys

    code = "import sys, inspections.contact; print('django' in sys.modules, 'numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True)
    assert done.stdout.strip() == "False True", done.stderr
