"""What is written beside a pattern, and what a plant asks of it."""

import json
from datetime import date

import pytest

from inspections.contact import PRACTICE, Criteria, Facts, PatternError


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"seat": "round"}, "Choose one of '', 'cylindrical', 'spherical'"),
        ({"half": "left"}, "half is 'left'"),
        ({"film": "oily"}, "'thin', 'normal', 'heavy'"),
        ({"first_end": ""}, "'in', 'out'"),
        ({"clearance_um": 0.0}, "0 um"),
        ({"clearance_um": float("nan")}, "nan um"),
        ({"worn_arc_deg": 180.0}, "from 0 to 179"),
        ({"journal_mm": -5.0}, "Mend it or leave it empty"),
    ],
)
def test_a_fact_that_cannot_be_is_refused_with_what_is_allowed(wrong, words):
    with pytest.raises(PatternError, match=words):
        Facts(**wrong)


def test_the_shipped_criteria_say_that_nobody_published_them():
    assert Criteria().basis == PRACTICE == "common practice, no published source"
    assert Criteria().whose == f"shipped default: {PRACTICE}"


def test_criteria_name_whose_they_are_and_since_when():
    ours = Criteria(author="Plant engineer", from_on=date(2024, 3, 1), basis="plant standard")
    assert ours.whose == "Plant engineer, from 2024-03-01: plant standard"


def test_criteria_survive_being_stored():
    ours = Criteria(
        min_coverage=0.9,
        author="Plant engineer",
        from_on=date(2024, 3, 1),
        film_um={"thin": (2, 4), "normal": (4, 9), "heavy": (9, 30)},
    )
    assert Criteria.from_dict(json.loads(json.dumps(ours.as_dict()))) == ours


def test_one_stored_figure_leaves_the_others_as_shipped():
    ours = Criteria.from_dict({"min_coverage": 0.9, "film_um": {"thin": [2.0, 4.0]}})
    assert (ours.min_coverage, ours.max_arc_deg) == (0.9, Criteria().max_arc_deg)
    assert ours.film_um == Criteria().film_um | {"thin": (2.0, 4.0)}


def test_a_former_criterion_of_a_plant_is_passed_over():
    assert Criteria.from_dict({"min_coverage": 0.9, "max_misfit": 0.2}) == Criteria(min_coverage=0.9)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"min_coverage": 75}, "from 0 to 1"),
        ({"min_arc_deg": 130.0}, "above the widest, 120"),
        ({"film_um": {"thin": [9.0, 4.0]}}, "thinner first"),
        ({"spots_per_square": 10}, "do not know spots_per_square"),
        ({"max_turn_deg": float("nan")}, "max_turn_deg is nan"),
    ],
)
def test_criteria_that_cannot_be_are_refused(wrong, words):
    with pytest.raises(PatternError, match=words):
        Criteria.from_dict(wrong)
