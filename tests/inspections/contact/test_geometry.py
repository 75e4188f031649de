"""Circles: what arc a film prints and what a worn arc says."""

import math

import pytest

from inspections.contact import clearance_ratio, film_arc_deg


# Own geometry, cos(A/2) = r / (r + d) and ratio 1 + d / (2r): worked by hand for 60, 90 and 120 degrees.
# That 120 degrees is where a shell is given up is said on a trade page; that half as much clearance again
# is the end is said by makers; the geometry shows they are one point.
@pytest.mark.parametrize(
    ("arc", "ratio"),
    [(0, 1.0), (60, 1.0 + (2 / math.sqrt(3) - 1) / 2), (90, (1 + math.sqrt(2)) / 2), (120, 1.5)],
)
def test_a_worn_arc_gives_the_clearance_over_the_original_one(arc, ratio):
    assert clearance_ratio(arc) == pytest.approx(ratio, abs=1e-12)


def test_the_clearance_has_doubled_at_an_arc_of_141_degrees():
    # cos(A/2) = 1/3 exactly, so A = 141.0576 degrees.
    assert clearance_ratio(2 * math.degrees(math.acos(1 / 3))) == pytest.approx(2.0, abs=1e-12)
    assert clearance_ratio(141.06) == pytest.approx(2.0, abs=1e-4)


@pytest.mark.parametrize(("clearance", "film"), [(100, 5), (150, 10), (260, 15), (80, 25)])
def test_the_gap_at_the_edge_of_the_print_is_the_film(clearance, film):
    # Own geometry: the gap of a journal lying in a round bore is (c/2)(1 - cos a), c diametral.
    half = math.radians(film_arc_deg(clearance, film) / 2)
    assert clearance / 2 * (1 - math.cos(half)) == pytest.approx(film, abs=1e-9)
    assert half == pytest.approx(math.acos(1 - 2 * film / clearance), abs=1e-12)


def test_a_film_of_a_quarter_of_the_clearance_prints_120_degrees():
    assert film_arc_deg(200, 50) == pytest.approx(120.0)


def test_a_film_thicker_than_the_radial_clearance_prints_up_to_the_joints():
    assert film_arc_deg(100, 50) == pytest.approx(180.0)
    assert film_arc_deg(100, 400) == pytest.approx(180.0)


def test_no_film_prints_the_worn_arc_itself():
    assert film_arc_deg(200, 0.0, 90) == pytest.approx(90.0)
    assert film_arc_deg(200, 10.0, 90) > film_arc_deg(200, 10.0)


def test_the_film_over_a_worn_arc_agrees_with_the_gap_worked_out_step_by_step():
    r, arc = 60.0, 100.0  # original radial clearance 60 um
    sunk = r / math.cos(math.radians(arc / 2)) - r
    now = 2 * r + sunk
    half = math.radians(film_arc_deg(now, 8.0, arc) / 2)
    assert r - (r + sunk) * math.cos(half) == pytest.approx(8.0, abs=1e-9)


@pytest.mark.parametrize(
    ("clearance", "film", "arc"), [(0, 5, 0), (100, -1, 0), (100, 5, 180), (math.nan, 5, 0)]
)
def test_a_clearance_or_arc_that_cannot_be_is_refused_in_words(clearance, film, arc):
    with pytest.raises(ValueError, match="clearance must be above 0"):
        film_arc_deg(clearance, film, arc)
