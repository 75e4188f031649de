"""The library of prints: the same numbers on every machine, and how much of each family prints."""

import numpy as np
import pytest

from inspections.contact.library import FAMILIES, SIZES, WORN_SIZES, library, uniform
from inspections.contact.taps import STEPS, chances, overlaps, shares, slips, table


@pytest.mark.parametrize(
    ("family", "n", "k", "value"),
    [(0, 0, 0, 0.070266898), (0, 0, 1, 0.731120102), (0, 0, 2, 0.838437970), (6, 2999, 41, 0.712164203)],
)
def test_the_counter_hash_gives_the_numbers_it_is_known_by(family, n, k, value):
    assert float(uniform(family, n, k)) == pytest.approx(value, abs=5e-10)


def test_the_numbers_of_the_hash_are_even():
    u = uniform(3, np.arange(2000)[:, None], np.arange(64)[None, :])
    assert np.histogram(u, 10, (0, 1))[0] == pytest.approx(np.full(10, u.size / 10), rel=0.03)


def test_the_library_has_16_100_prints_of_new_shells_and_as_many_families_of_worn_ones():
    assert len(library("bored").prints) == sum(SIZES.values()) == 16_100
    assert len(library("worn").prints) == sum(WORN_SIZES.values())
    assert tuple(WORN_SIZES) == FAMILIES


# Made by another program from the same description; draws that the description leaves open move them a
# little.
@pytest.mark.parametrize(
    ("family", "share"),
    [
        ("straight", 0.4184),
        ("tilt", 0.1283),
        ("skew", 0.3057),
        ("side", 0.3114),
        ("hollow", 0.0645),
        ("proud", 0.2025),
        ("spot", 0.0941),
        ("spots", 0.0570),
        ("pinch", 0.3402),
    ],
)
def test_each_family_prints_about_as_much_as_it_should(family, share):
    prints = library("bored")
    assert prints.prints[prints.ranges[family]].mean() == pytest.approx(
        share, abs=0.08 if family == "pinch" else 0.015
    )


def test_the_whole_library_prints_about_a_fifth():
    assert library("bored").prints.mean() == pytest.approx(0.2027, abs=0.02)


def test_worn_shells_print_wider_than_new_ones_of_the_same_clearance():
    new, worn = library("bored"), library("worn")
    rows_new, rows_worn = new.ranges["straight"], worn.ranges["straight"]
    level = (new.level[rows_new] > 2) & (new.level[rows_new] < 3)
    deep = (worn.level[rows_worn] > 2) & (worn.level[rows_worn] < 3) & (worn.half_arc_deg[rows_worn] > 50)
    assert worn.prints[rows_worn][deep].mean() > 1.5 * new.prints[rows_new][level].mean()


def test_shares_of_cells_keep_the_area():
    prints = library("bored").prints[:50]
    for rows, columns in ((5, 7), (10, 14), (3, 40), (13, 9)):
        assert shares(prints, rows, columns).mean(axis=(1, 2)) == pytest.approx(
            prints.mean(axis=(1, 2)), abs=1e-12
        )
        assert overlaps(rows, 20).sum(axis=1) == pytest.approx(np.ones(rows))


def test_chances_of_the_three_taps_add_to_one_and_none_is_nothing():
    share = np.linspace(0, 1, 35).reshape(1, 5, 7)
    chance = slips(chances(share, np.array([0.05]), np.array([0.5])))
    assert chance.sum(axis=0) == pytest.approx(np.ones((1, 5, 7)))
    assert chance.min() > 0.001


def test_an_empty_cell_is_mostly_not_tapped_and_a_full_one_mostly_twice():
    share = np.zeros((1, 3, 3))
    share[0, 1, 1] = 1.0
    chance = slips(chances(share, np.array([0.05]), np.array([0.5])))
    assert chance[0, 0, 0, 0] > 0.9
    assert chance[2, 0, 1, 1] > 0.8


def test_the_table_keeps_logarithms_in_whole_steps():
    logs, ranges = table("bored", 3, 3)
    assert logs.shape == (27, 16_100 + 4 * 1500)
    assert logs.max() <= 0
    whole = np.exp(logs.reshape(9, 3, -1) / STEPS).sum(axis=1)
    assert whole == pytest.approx(np.ones(whole.shape), abs=0.002)
    assert ranges["uneven3"] == slice(16_100 + 4500, 16_100 + 6000)
