"""How wear goes with age, told from the fitted exponent alone."""

from dataclasses import replace

import numpy as np
import pytest

from dashboards.trends.comparison import curved_names, own_exponents
from dashboards.trends.wear_curve import curve_sentence, other_curves_sentence, own_exponents_sentence
from inspections.forecasts.codes import Codes
from inspections.wear.class_curves import WHOLE
from inspections.wear.parameters import Params
from inspections.wear.population import Pool, Population


def _pool(*exponents, weights=()):
    designs = tuple(replace(Params(), exponent=one) for one in exponents)
    return Pool(0, 60, 80, False, True, "", designs, weights or (1.0,))


def test_a_fleet_that_cannot_tell_is_told_nothing():
    assert curve_sentence(_pool(1.0)) == ""


@pytest.mark.parametrize(
    ("exponent", "how", "times"), [(1.5, "faster", "2.8 times"), (0.5, "slower", "1.4 times")]
)
def test_a_curve_is_said_with_what_twice_the_age_has_worn(exponent, how, times):
    said = curve_sentence(_pool(exponent))
    assert (
        f"wear {how} as they grow older" in said and f"to the power {exponent:.2f}," in said and times in said
    )


def test_near_one_is_even_and_the_interval_is_that_of_the_designs():
    said = curve_sentence(_pool(1.05, 1.0, 1.1025, weights=(0.0, 0.5, 0.5)))
    # mean log 0.04879, sd 0.04879: exp(0.04879 -+ 1.6449 x 0.04879)
    assert (
        said == "Wear goes evenly with a shell's hours: the exponent of age is 1.05 (9 in 10: 0.97 to 1.14)."
    )


def test_classes_with_a_curve_of_their_own_are_named_to_whoever_may_see_them():
    codes, words = Codes(), {"class_": {"a": "Hill", "c": "River"}}
    for word in ("a", "b", "c", "d"):
        codes.of("class_", word)
    curved = Population((replace(_pool(1.2), curved=(0, 1, 2)),))
    assert curved_names(curved, codes, words) == ["Hill", "River"]
    assert "Classes Hill and River together" in other_curves_sentence(["Hill", "River"])
    assert curved_names(Population((_pool(1.2),)), codes, words) == [] and other_curves_sentence([]) == ""
    whole = Population((replace(_pool(1.2), curved=(WHOLE, 0)),))
    assert "the whole fleet together" in other_curves_sentence(curved_names(whole, codes, words))


def test_classes_whose_dates_follow_an_exponent_of_their_own_are_named_with_it():
    codes, words = Codes(), {"class_": {"a": "Hill", "b": "Lake", "c": "River"}}
    for word in ("a", "b", "c", "d"):
        codes.of("class_", word)
    design = Params(class_exponent={"0": float(np.log(2.0)), "1": 0.01, "2": float(np.log(0.5)), "3": 0.4})
    own = own_exponents(Population((replace(_pool(1.0), designs=(design,)),)), codes, words)
    assert own_exponents_sentence(own) == (
        "In class Hill the dates follow a shell's age to the power 2.00, in class River 0.50."
    )
