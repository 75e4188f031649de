"""The verdict on one reading and the question at entry, in numbers and words."""

import math
from decimal import Decimal

import pytest

from fleet import slip_factors
from fleet.units import step_um, to_um
from inspections.story.uncertainty import STRIPS_UM, beyond_strip
from inspections.visits.expectations import held_for
from inspections.visits.metal_removed import removed
from inspections.visits.stations import station
from inspections.visits.verdict import Expected, Held, reading_sd_um, shown, verdict, verdict_of_interval
from inspections.wear import slips as wear_slips
from tests.bench import slips

AS_EXPECTED = Expected(181.0, 192.0, 204.0)
LIMIT = Held(high_um=263.0)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (200.0, "inside"),
        (246.0, "inside"),
        (247.0, "may be over"),
        (263.0, "may be over"),
        (279.0, "may be over"),
        (280.0, "over"),
    ],
)
def test_the_five_words_lie_at_a_guard_band_of_1_645_standard_uncertainties(value, word):
    # JCGM 106:2012 and ILAC-G8:09/2019: 263 -+ 1.645 x 10.
    assert verdict(value, 10.0, "um", LIMIT).word == word


def test_the_risk_that_is_said_is_that_of_the_word():
    said = verdict(263.0, 10.0, "um", LIMIT)
    assert said.p_high == pytest.approx(0.5) and "5 in 10 that it is" in said.text


def test_too_tight_is_said_against_the_least():
    assert verdict(100.0, 5.0, "mm", Held(120.0, 260.0)).text.startswith("Too tight: under 0.120 mm")


def test_without_a_limit_it_says_so_and_still_asks():
    said = verdict(96.0, 5.0, "mm", Held(), AS_EXPECTED)
    assert said.word == "" and said.text.startswith("No limit is set") and said.asked


def of_typed(number: str, unit: str, expected=AS_EXPECTED, held=LIMIT, method_sd=6.0):
    """The verdict on a number as typed in a box."""
    step = float(step_um(number, unit))
    return verdict(
        float(to_um(Decimal(number), unit)), reading_sd_um(method_sd, step), unit, held, expected, step
    )


@pytest.mark.parametrize(
    ("number", "unit", "asked", "meant"),
    [
        ("7.5", "mm", "Did you mean 7.5 thou (0.191 mm)?", "thou"),
        ("8", "mm", "Did you mean 8 thou (0.203 mm)?", "thou"),  # the last digit is a thou, not a millimetre
        ("0.0075", "mm", "Did you mean 0.0075 in (0.191 mm)?", "in"),
        ("190", "mm", "Did you mean 190 µm (0.190 mm)?", "um"),
        ("19", "mm", "Did you mean 19 hundredths of a millimetre (0.190 mm)?", ""),
        ("0.0075", "thou", "Did you mean 0.0075 in (7.5 thou)?", "in"),
        ("0.19", "thou", "Did you mean 0.19 mm (7.5 thou)?", "mm"),
        ("190", "thou", "Did you mean 190 µm (7.5 thou)?", "um"),
        ("7.5", "in", "Did you mean 7.5 thou (0.0075 in)?", "thou"),
        ("0.19", "in", "Did you mean 0.19 mm (0.0075 in)?", "mm"),
        ("190", "in", "Did you mean 190 µm (0.0075 in)?", "um"),
        ("0.19", "um", "Did you mean 0.19 mm (190 µm)?", "mm"),
        ("7.5", "um", "Did you mean 7.5 thou (191 µm)?", "thou"),
        ("0.096", "mm", "Did you mean 0.192 mm, the whole clearance where the reading was radial?", ""),
        ("0.0192", "mm", "Did you mean 0.192 mm, with the decimal mark elsewhere?", ""),
        ("0.384", "mm", "Did you mean 0.192 mm, the reading itself, not twice it?", ""),
    ],
)
def test_a_slip_is_asked_about_in_the_number_and_unit_that_it_would_then_be(number, unit, asked, meant):
    said = of_typed(number, unit)
    assert said.asked and said.question.startswith(asked) and said.mended_unit == meant
    assert "Measure once more while it is open" in said.question


@pytest.mark.parametrize(
    ("number", "unit"), [("1", "mm"), ("0", "mm"), ("2", "mm"), ("40", "thou"), ("152", "in"), ("1", "in")]
)
def test_a_coarse_value_far_from_what_is_expected_is_asked_about(number, unit):
    assert of_typed(number, unit).asked


@pytest.mark.parametrize(
    ("number", "unit"),
    [
        ("0.2", "mm"),
        ("0.19", "mm"),
        ("0.195", "mm"),
        ("8", "thou"),
        ("7.5", "thou"),
        ("0.008", "in"),
        ("190", "um"),
    ],
)
def test_a_coarse_value_that_is_as_expected_is_not(number, unit):
    assert not of_typed(number, unit).asked


def test_outside_0_to_10_per_mille_of_the_journal_one_always_asks():
    held = held_for({}, "as_found", "", journal_um=Decimal(150_000))
    assert held.most_um == 1500.0
    for value in (0.0, 1501.0):
        for expected in (None, Expected(900.0, 1450.0, 2000.0)):
            assert verdict(value, 6.0, "mm", held, expected).asked
    assert not verdict(1499.0, 6.0, "mm", held, Expected(900.0, 1450.0, 2000.0)).asked
    assert "no clearance of this journal is more than 1.500 mm" in verdict(1501.0, 6.0, "mm", held).question
    assert verdict_of_interval(1600.0, None, 6.0, "mm", held).asked
    assert not verdict_of_interval(None, 1400.0, 6.0, "mm", held).asked
    assert held_for({}, "as_found", "", "bore", Decimal(150_000)).most_um is None


@pytest.mark.parametrize(
    ("low", "high", "unit", "asked"),
    [
        (0.1524, None, "thou", "Did you mean >0.006 in (>6.0 thou)?"),
        (None, 0.2032, "thou", "Did you mean <0.008 in (<8.0 thou)?"),
        (0.1778, 0.2032, "thou", "Did you mean from 0.007 in (from 7.0 thou)?"),
        (6000.0, None, "mm", "Did you mean >6"),
        (101.6, None, "in", ""),
        (None, 260.0, "mm", ""),
        (180.0, 200.0, "mm", ""),
        (None, 100.0, "mm", "Measure once more"),
        (300.0, None, "mm", "Measure once more"),
        (None, None, "mm", ""),
    ],
)
def test_bounds_are_asked_about_too(low, high, unit, asked):
    step = 0.0254 if unit == "thou" else 10.0
    said = verdict_of_interval(low, high, reading_sd_um(6.0, step), unit, LIMIT, AS_EXPECTED, step)
    assert said.asked == bool(asked) and said.question.startswith(asked)


def test_a_failed_bearing_is_asked_about_and_no_slip_is_made_up_for_it():
    said = verdict(262.0, 6.0, "mm", LIMIT, AS_EXPECTED)
    assert said.asked and said.slip == "" and said.mended_um is None


def test_at_99_7_per_cent_of_what_is_expected_one_asks_and_not_before():
    # 204 is 1 in 10: sd 9.364 above the middle, with 6 of the reading 11.12; 99.7 % lie within 2.968 of them.
    edge = 192.0 + 2.9677 * math.hypot(12.0 / 1.28155, 6.0)
    assert not verdict(edge - 0.2, 6.0, "mm", LIMIT, AS_EXPECTED).asked
    assert verdict(edge + 0.2, 6.0, "mm", LIMIT, AS_EXPECTED).asked


def test_a_low_clearance_is_asked_about_from_where_the_forecast_doubts_it_and_a_high_one_is_not():
    sd = math.hypot(11.0 / 1.28155, 6.0)
    low = [verdict(192.0 - away * sd, 6.0, "mm", LIMIT, AS_EXPECTED) for away in (2.3, 2.36, 2.9)]
    assert [one.asked for one in low] == [False, True, True]
    assert low[1].question == "Measure once more while it is open: 0.181 to 0.204 mm was expected."
    assert "but not what was expected" in low[1].text and low[1].slip == ""
    high = 192.0 + 2.9 * math.hypot(12.0 / 1.28155, 6.0)
    assert not verdict(high, 6.0, "mm", LIMIT, AS_EXPECTED).asked
    rough = Expected(107.0, 150.0, 258.0, rough=True)
    assert not verdict(150.0 - 2.9 * math.hypot(43.0 / 1.28155, 6.0), 6.0, "mm", LIMIT, rough).asked


def test_the_smaller_end_of_a_tapered_bearing_is_not_asked_about():
    tapered = Expected(181.0, 192.0, 204.0, taper_um=60.0)
    assert not verdict(135.0, 6.0, "mm", LIMIT, tapered).asked
    assert verdict(135.0, 6.0, "mm", LIMIT, AS_EXPECTED).asked


def test_by_rule_of_thumb_only_a_gross_slip_is_asked_about():
    rough = Expected(107.0, 150.0, 258.0, rough=True)
    assert [verdict(v, 6.0, "mm", LIMIT, rough).asked for v in (75.0, 150.0, 300.0, 3810.0, 6.0)] == [
        False,
        False,
        False,
        True,
        True,
    ]


def test_an_interval_leaves_open_what_its_bounds_leave_open():
    assert verdict_of_interval(228.6, None, 10.0, "in", LIMIT).word == "may be over"
    assert verdict_of_interval(300.0, None, 10.0, "in", LIMIT).word == "over"
    assert verdict_of_interval(None, 152.0, 10.0, "in", LIMIT).word == "inside"


def test_a_reading_is_as_sure_as_its_method_its_step_and_its_conditions():
    # JCGM 100:2008, F.2.2.1: a step of 0.01 mm adds 10 / sqrt(12) = 2.887 um.
    assert reading_sd_um(0.0, 10.0) == pytest.approx(2.887, abs=5e-4)
    assert reading_sd_um(3.0, None, [4.0]) == pytest.approx(5.0)


def test_as_found_and_as_left_are_held_against_their_own_limits():
    limits = {
        ("clearance", "fitting_min"): 140.0,
        ("clearance", "fitting_max"): 170.0,
        ("clearance", "in_service_min"): 120.0,
        ("clearance", "in_service_max"): 300.0,
    }
    assert held_for(limits, "as_found", "") == Held(120.0, 300.0)
    assert held_for(limits, "as_left", "scrape") == Held(120.0, 300.0)
    assert held_for(limits, "as_left", "new") == Held(140.0, 170.0, "fitting range")


def test_a_strip_beyond_its_range_gives_a_bound():
    # TM 5-2420-222-34, para 1-16: 0.001-0.003, 0.002-0.006, 0.004-0.009 in.
    assert STRIPS_UM == {"PG-1": (25.4, 76.2), "PR-1": (50.8, 152.4), "PB-1": (101.6, 228.6)}
    assert beyond_strip(240.0, "pb-1") == (">", 228.6) and beyond_strip(90.0, "PB-1") == ("<", 101.6)
    assert beyond_strip(150.0, "PB-1") is None and beyond_strip(9999.0, "feeler 3") is None


def test_halves_are_shown_rounded_up_as_in_the_browser():
    assert [shown(um, "thou") for um in (221.0, 224.79)] == ["8.7", "8.9"]
    assert [shown(um, "um") for um in (0.5, 1.5, 2.5)] == ["1", "2", "3"]


@pytest.mark.parametrize("key", ["in-12", "out-6", "mid", "any", "3"])
def test_a_stations_key_reads_back(key):
    assert station(station(key).key) == station(key)


def test_metal_removed_is_drawn_towards_the_usual_step_and_never_negative():
    usual = (12.0, 6.0)
    none = removed([], [], usual)
    assert none.mean_um == pytest.approx(12.0, abs=0.4) and not none.measured
    measured = removed([(200.0, 5.0)], [(230.0, 5.0)], usual)
    # By precisions: (12/36 + 30/50) / (1/36 + 1/50) = 19.53.
    assert measured.mean_um == pytest.approx(19.5, abs=0.1) and measured.sd_um < 5.0
    assert removed([(200.0, 5.0)], [(170.0, 5.0)], usual).mean_um > 0


def test_the_wear_model_knows_no_factor_that_the_one_home_of_factors_does_not():
    home = {slip.factor for unit in slip_factors.UNIT_UM for slip in slip_factors.slips_of(unit)}
    assert all(any(math.isclose(one, known) for known in home) for one in wear_slips.FACTORS)
    assert all(any(math.isclose(one, known, rel_tol=1e-4) for known in home) for one in slip_factors.APART)


def test_on_a_simulated_fleet_slips_are_asked_about_in_each_box_and_true_readings_are_not():
    said = slips.run("plain", 400, 11, every=4)
    for box in slips.STEPS:
        of = {kind: one for (where, kind), one in said.items() if where == box}
        assert of["clean"].share <= 0.02, box  # 1 in 100 of the low side alone
        assert of["25.4-fold"].share == 1.0 and of["thousandfold"].share == 1.0, box
        assert of["twofold, read before"].share >= 0.90, box
