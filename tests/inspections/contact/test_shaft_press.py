"""The rigid press: closed forms that a lowered shaft has to meet."""

import math

import numpy as np
import pytest

from inspections.contact.press import Pressing, gaps, printed, touching_deg

DEGREES = np.radians(np.arange(-89.0, 90.0))
ALONG = np.linspace(-1, 1, 21)


def of(**fields):
    return Pressing(**{name: np.atleast_1d(np.asarray(value, float)) for name, value in fields.items()})


@pytest.mark.parametrize("scale", [3.0, 10.0, 60.0])
def test_a_round_bore_prints_to_the_arc_of_its_film(scale):
    p = of(scale=scale, radius=scale)
    fine = np.radians(np.arange(-89.9, 90.0, 0.1))
    marked = printed(p, np.zeros(1), fine)[0, :, 0]
    reach = math.degrees(math.acos(1 - 1 / scale))
    assert np.degrees(fine[marked]).max() == pytest.approx(reach, abs=0.1)


def test_a_pinched_shell_is_touched_where_the_closed_form_says():
    gap = gaps(of(scale=10, radius=10, pinch=8), np.zeros(1), DEGREES)[0, :, 0]
    angle, bottom = touching_deg(10.0, 8.0)
    assert angle == pytest.approx(60.0, abs=1e-9)
    assert bottom == pytest.approx(2.0, abs=1e-9)
    assert abs(np.degrees(DEGREES[gap.argmin()])) == pytest.approx(angle, abs=0.01)
    assert gap[89] == pytest.approx(bottom, abs=1e-6)


def test_a_pinch_of_less_than_half_the_clearance_is_refused_in_words():
    with pytest.raises(ValueError, match="from half of it to all of it"):
        touching_deg(10.0, 4.0)


def test_a_shaft_set_down_aside_rolls_until_friction_holds_it():
    at = 10 * math.sin(math.radians(20))
    gap = gaps(of(scale=10, radius=10, set_down=at, friction=0.12), np.zeros(1), DEGREES)[0, :, 0]
    # atan 0.12 is 6.8 degrees; the points are whole degrees.
    assert np.degrees(DEGREES[gap.argmin()]) == pytest.approx(7.0, abs=0.01)


def test_a_held_shaft_stays_where_it_was_set_down():
    at = 10 * math.sin(math.radians(40))
    gap = gaps(of(scale=10, radius=10, set_down=at, friction=math.inf), np.zeros(1), DEGREES)[0, :, 0]
    assert np.degrees(DEGREES[gap.argmin()]) == pytest.approx(40.0, abs=0.5)


@pytest.mark.parametrize(("field", "value", "carries"), [("tilt", 5, 1.0), ("tilt", -5, -1.0)])
def test_a_tilted_shaft_touches_at_the_end_that_lies_lower(field, value, carries):
    gap = gaps(of(scale=10, radius=10, **{field: value}), ALONG, DEGREES)[0]
    assert ALONG[gap.min(axis=0).argmin()] == carries
    assert gap.min() == pytest.approx(0.0, abs=1e-9)


def test_a_hollow_bore_is_touched_at_its_ends_and_a_proud_one_in_its_middle():
    for crown, where in ((4, {-1.0, 1.0}), (-4, {0.0})):
        least = gaps(of(scale=10, radius=10, crown=crown), ALONG, DEGREES)[0].min(axis=0)
        assert {float(np.round(x, 9)) for x in ALONG[least < 1e-9]} == where


@pytest.mark.parametrize(("clearance", "gained", "arc"), [(230, 100, 134), (195, 65, 120)])
def test_a_worn_shell_is_touched_over_the_arc_of_its_wear(clearance, gained, arc):
    radius = (clearance - gained) / 2
    p = of(scale=clearance / 2, radius=radius, worn=gained)
    fine = np.radians(np.arange(-89.75, 90.0, 0.25))
    touched = gaps(p, np.zeros(1), fine)[0, :, 0] < 1e-6
    # cos(A/2) = r / (r + d): own geometry.
    assert 2 * np.degrees(fine[touched]).max() == pytest.approx(arc, abs=1.0)
    assert touched.sum() == pytest.approx(arc / 0.25, abs=3)


def test_nothing_touches_or_prints_inside_a_relief():
    p = of(scale=2, radius=-1, relief=math.radians(60))
    gap = gaps(p, ALONG, DEGREES)[0]
    inside = (np.abs(np.degrees(DEGREES)) > 60)[:, None] & (np.abs(ALONG) < 0.85)[None, :]
    assert gap[inside].min() > 1000
    # A bore smaller than the journal rides on the edges of the reliefs.
    middle = gap[:, 10]
    assert abs(np.degrees(DEGREES[middle.argmin()])) == pytest.approx(60, abs=0.01)


def test_no_gap_is_ever_below_zero():
    rng = np.random.default_rng(3)
    n = 60
    p = Pressing(
        np.full(n, 10.0),
        rng.uniform(-5, 10, n),
        tilt=rng.uniform(-5, 5, n),
        skew=rng.uniform(-5, 5, n),
        set_down=rng.uniform(-5, 5, n),
        friction=np.where(rng.random(n) < 0.5, np.inf, 0.1),
        crown=rng.uniform(-4, 4, n),
        bumps=rng.uniform(0.1, 0.9, (n, 2, 5)),
        relief=np.full(n, np.inf),
    )
    assert gaps(p, ALONG, DEGREES).min() > -1e-9
