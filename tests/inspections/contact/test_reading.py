"""What each pattern means and what to do about it.

The meanings are common practice with no published source (acceptable contact runs from one end of the shell
to the other but not all the way up its sides; two high spots, one at each end, are scraped off; in place
shows the alignment, a mandrel does not), save where a line says otherwise.
"""

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from inspections.contact import NAMES, OUTCOMES, SHAPES, Criteria, Facts, named, read, turned

# A film of 7 to 15 um prints 50 to 74 degrees at 150 um: arccos(1 - 2h/c), own geometry.
FACTS = Facts(
    half="lower",
    in_place=True,
    seat="cylindrical",
    bedded_by_hand=False,
    clearance_um=150.0,
    journal_mm=100.0,
    film="normal",
    first_side="left",
)
SIZES = [(5, 7), (5, 9), (7, 7), (7, 11), (9, 15)]
MEANT = {
    "full_length": ("full", "", "acceptable"),
    "both_ends": ("both_ends", "", "scrape"),
    "one_end": ("one_end", "out", "alignment"),
    "other_end": ("one_end", "in", "alignment"),
    "diagonal": ("diagonal", "", "alignment"),
    "patchy": ("patchy", "", "repeat"),
    "flooded": ("flooded", "", "repeat"),
    "narrow": ("narrow", "", "scrape"),
}


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", MEANT)
def test_each_drawing_is_read_as_what_it_is_drawn_for(name, size):
    reading = read(named(name, *size), FACTS)
    assert (reading.shape, reading.end, reading.outcome) == MEANT[name]
    assert reading.codes[0] == reading.shape
    assert reading.meaningful


@pytest.mark.parametrize("name", NAMES)
def test_every_reason_is_a_sentence_with_a_source(name):
    for facts in (FACTS, Facts(), replace(FACTS, in_place=False, worn_arc_deg=90.0), Facts(turned_deg=360)):
        reading = read(named(name), facts)
        assert reading.outcome in OUTCOMES
        assert reading.shape in SHAPES
        for reason in reading.reasons:
            assert reason.sentence.endswith((".", "?", "worn."))
            assert "{" not in reason.sentence
            assert reason.basis
        assert reading.headline.endswith(".")
        assert json.loads(json.dumps(reading.as_dict()))["shape"] == reading.shape


# --- ends, and the shell turned ---------------------------------------------------------------------------


def same(reading):
    """All that is said of the shell; not where the cells stand in one picture of it."""
    return {key: value for key, value in asdict(reading).items() if key != "spots"} | {"spots": reading.spots}


@pytest.mark.parametrize("name", NAMES)
def test_the_shell_turned_end_for_end_reads_the_same(name):
    assert same(read(named(name), FACTS)) == same(read(turned(named(name)), FACTS.turned()))


def test_any_pattern_turned_reads_the_same_with_its_ends_exchanged():
    rng = np.random.default_rng(3)
    other = {"in": "out", "out": "in", "": ""}
    for _ in range(150):
        rows, columns = int(rng.integers(3, 9)), int(rng.integers(3, 12))
        cells = np.where(rng.random((rows, columns)) < rng.random(), rng.integers(0, 3, (rows, columns)), 0)
        one, two = read(cells, FACTS), read(turned(cells), FACTS)
        assert (one.shape, one.outcome, one.codes) == (two.shape, two.outcome, two.codes)
        assert one.end == other[two.end]
        assert one.columns == two.columns[::-1]
        assert (one.arc, one.coverage, one.misfit, one.rival) == (
            two.arc,
            two.coverage,
            two.misfit,
            two.rival,
        )
        assert sorted(s.n_cells for s in one.spots) == sorted(s.n_cells for s in two.spots)


def test_the_end_is_named_by_the_plants_word_and_not_by_the_pictures_side():
    words = replace(FACTS, first_end="in", pump_end="impeller end")
    assert (
        read(named("one_end"), words).headline
        == "Look at the alignment first: it carries at the impeller end only."
    )
    assert "outer end" in read(named("other_end"), words).headline


# --- in place, on a mandrel, in a spherical seat ----------------------------------------------------------


@pytest.mark.parametrize("name", ["one_end", "other_end", "diagonal"])
def test_only_a_check_in_place_speaks_of_the_alignment(name):
    on_mandrel = read(named(name), replace(FACTS, in_place=False))
    unknown = read(named(name), replace(FACTS, in_place=None))
    assert (on_mandrel.outcome, unknown.outcome) == ("repeat", "repeat")
    assert "on_mandrel" in on_mandrel.codes
    assert "place_unknown" in unknown.codes


def test_two_high_ends_are_scraped_wherever_the_check_was_made():
    for place in (True, False, None):
        assert read(named("both_ends"), replace(FACTS, in_place=place)).outcome == "scrape"


# A published description of blue checks on shaft bearings (workshopinsider.com, intermediate bearing
# alignment): none is made where the shell sits in a spherical housing, as it has no fixed position.
@pytest.mark.parametrize("name", NAMES)
def test_a_check_in_place_means_nothing_in_a_spherical_seat(name):
    reading = read(named(name), replace(FACTS, seat="spherical"))
    assert reading.outcome is None
    assert not reading.meaningful
    assert reading.codes == ("spherical_seat",)
    assert reading.headline == "Not meaningful in a spherical seat."


def test_a_shell_for_a_spherical_seat_can_still_be_read_on_a_mandrel():
    assert read(named("both_ends"), replace(FACTS, seat="spherical", in_place=False)).outcome == "scrape"


def test_the_half_that_carries_nothing_is_looked_at_on_a_mandrel():
    upper = replace(FACTS, half="upper")
    assert read(named("full_length"), upper).codes[0] == "unloaded_half"
    assert read(named("full_length"), replace(upper, in_place=False)).outcome == "acceptable"
    assert read(named("full_length"), replace(upper, load_side="top")).outcome == "acceptable"


# --- the arc, the dye and the clearance -------------------------------------------------------------------


def test_the_print_is_as_wide_as_the_clearance_allows():
    arc = read(named("full_length"), FACTS).arc
    assert arc.allowed == pytest.approx((49.9, 73.7), abs=0.05)  # 2 arccos(1 - 2h/150) at 7 and 15 um
    assert arc.low_deg < 60 < arc.high_deg
    assert arc.width_mm == pytest.approx(np.pi * 100 * arc.deg / 360)


WIDE = [[0] * 7, [2] * 7, [2] * 7, [2] * 7, [0] * 7]  # three rows of five: 90 to 115 degrees


def test_a_print_wider_than_the_clearance_allows_is_the_dyes_fault():
    reading = read(WIDE, FACTS)
    assert (reading.outcome, reading.codes[0]) == ("repeat", "too_wide")


def test_the_same_print_is_right_in_a_shell_worn_or_bedded_to_the_shaft():
    assert read(WIDE, replace(FACTS, worn_arc_deg=95.0)).outcome == "acceptable"
    assert read(WIDE, replace(FACTS, bedded_by_hand=True)).outcome == "acceptable"


def test_a_narrow_print_is_no_fault_where_the_clearance_allows_no_more():
    # 3 to 7 um print 25 to 38 degrees at 260 um: one row of the phone's grid.
    reading = read(named("narrow"), replace(FACTS, clearance_um=260.0, film="thin"))
    assert reading.outcome == "acceptable"
    assert "narrow_as_allowed" in reading.codes


def test_a_narrow_print_cannot_be_judged_without_the_clearance():
    reading = read(named("narrow"), replace(FACTS, clearance_um=None))
    assert (reading.shape, reading.outcome) == ("narrow", "repeat")


def test_thick_dye_proves_no_contact_but_what_it_leaves_bare_still_counts():
    thick = replace(FACTS, film="heavy", clearance_um=220.0)  # 15 to 40 um print 61 to 101 degrees
    assert read(named("full_length"), thick).codes[0] == "film_heavy"
    assert read(named("full_length"), thick).outcome == "repeat"
    assert read(named("both_ends"), thick).outcome == "scrape"


def test_a_shaft_turned_too_far_means_another_check():
    assert read(named("full_length"), replace(FACTS, turned_deg=20.0)).outcome == "acceptable"
    reading = read(named("full_length"), replace(FACTS, turned_deg=360.0))
    assert (reading.outcome, reading.codes[0]) == ("repeat", "turned_too_far")
    assert "The shaft was turned 360 degrees" in reading.reasons[0].sentence


# --- the worn arc: a hint ---------------------------------------------------------------------------------


def test_a_worn_arc_hints_at_the_clearance_the_shell_began_with():
    reading = read(named("full_length"), replace(FACTS, worn_arc_deg=120.0))
    assert reading.worn_ratio == pytest.approx(1.5)  # cos(A/2) = r / (r + d), own geometry
    assert reading.original_um == pytest.approx(100.0)
    assert "1.50 times" in next(r.sentence for r in reading.reasons if r.code == "worn_arc")


def test_the_arc_of_a_shell_bedded_by_hand_says_nothing_of_wear():
    reading = read(named("full_length"), replace(FACTS, worn_arc_deg=120.0, bedded_by_hand=True))
    assert reading.worn_ratio is None
    assert "bedded_no_hint" in reading.codes


def test_nothing_is_hinted_before_it_is_known_whether_the_shell_was_bedded():
    reading = read(named("full_length"), replace(FACTS, worn_arc_deg=120.0, bedded_by_hand=None))
    assert reading.worn_ratio is None
    assert "bedded_unknown" in reading.codes


# --- coverage, spots and single cells ---------------------------------------------------------------------


def test_the_high_spots_are_two_areas_with_their_places():
    spots = read(named("both_ends"), FACTS).spots
    assert [s.where for s in spots] == ["at the pump end, bottom centre", "at the outer end, bottom centre"]
    assert [s.n_cells for s in spots] == [4, 4]
    assert spots[1].cells == ((1, 0), (2, 0), (2, 1), (3, 0))  # the outer end is the first column here


def test_a_spot_up_the_side_names_the_side_seen_from_the_coupling():
    cells = named("full_length")
    cells[0, 3] = 2
    assert read(cells, FACTS).spots[0].n_cells == 22  # joined to the rest
    cells[:] = 0
    cells[0:2, 0] = 2
    assert read(cells, FACTS).spots[0].where == "at the outer end, on the left side"
    assert read(cells, replace(FACTS, first_side="right")).spots[0].where.endswith("on the right side")
    assert read(cells, replace(FACTS, first_side="")).spots[0].where.endswith("on the side of the first row")


def test_a_print_that_stops_short_is_scraped_where_it_is_high():
    cells = named("full_length")
    cells[:, :1] = 0
    assert read(cells, FACTS).outcome == "acceptable"  # six of seven columns
    strict = read(cells, FACTS, Criteria(min_coverage=0.9))
    assert (strict.outcome, strict.codes[0]) == ("scrape", "short")
    assert strict.coverage == pytest.approx(6 / 7)
    assert "90 % is asked for" in strict.reasons[0].sentence


def test_a_print_in_the_middle_only_is_scraped_in_the_middle():
    cells = named("full_length")
    cells[:, [0, 1, 5, 6]] = 0
    assert (read(cells, FACTS).shape, read(cells, FACTS).outcome) == ("middle", "scrape")


def test_no_print_is_no_reading():
    empty = np.zeros((5, 7))
    assert (read(empty, FACTS).shape, read(empty, FACTS).outcome) == ("none", "repeat")
    assert read(empty, FACTS).coverage == 0.0
    assert read(empty, FACTS).spots == ()


def test_one_wrong_tap_does_not_change_the_reading():
    for name in ("full_length", "both_ends", "one_end", "flooded"):
        meant = read(named(name), FACTS)
        for k in range(35):
            cells = named(name)
            cells.flat[k] = 2 - cells.flat[k]
            reading = read(cells, FACTS)
            assert (reading.shape, reading.outcome) == (meant.shape, meant.outcome) or reading.rival, (
                name,
                k,
            )


def test_a_pattern_between_two_readings_says_so():
    cells = named("one_end")
    cells[2, 6] = 1
    reading = read(cells, FACTS)
    assert reading.rival in ("both_ends", "one_end")
    assert "close_call" in reading.codes
