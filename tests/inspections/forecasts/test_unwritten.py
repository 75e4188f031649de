"""A fall that nobody explained, on the bearing's page: what is likelier, between which days, and the
question.
"""

import datetime as dt
from dataclasses import replace

import pytest

from inspections.forecasts.codes import Codes
from inspections.forecasts.computation import figures_of
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.forecast_sentences import misfit_sentence, unwritten_sentence
from inspections.forecasts.wear_inputs import inputs
from inspections.wear.class_curves import WHOLE
from inspections.wear.parameters import Params
from inspections.wear.population import Pool, Population
from tests import makers

AS_OF = dt.date(2026, 1, 1)


def test_what_is_likelier_stands_first_with_its_days_and_the_question():
    figures = Figures(
        {
            "unwritten": [0.92, 0.06, 0.02],
            "unwritten_from": "2019-05-03",
            "unwritten_until": "2021-06-04",
        }
    )
    told = unwritten_sentence(figures).replace("\xa0", " ")
    assert told.startswith("Between 3 May 2019 and 4 Jun 2021 the clearance fell and nothing is written:")
    assert (
        "a new shell is likelier than another gauge or way of measuring or a wrong reading (92 to 6 to 2)"
        in told
    )
    assert "Was the shell changed then?" in told


@pytest.mark.parametrize(
    ("surprise", "told"),
    [
        (None, "the dates keep the doubt"),
        (0.4, "the dates keep the doubt"),
        (1e-6, "the earliest of its dates"),
    ],
)
def test_what_its_dates_are_until_the_answer_is_said(surprise, told):
    """After a fall at the last reading, which surprises, the dates are the earliest, not a mixture."""
    figures = {"unwritten": [0.92, 0.06, 0.02], "unwritten_until": "2021-06-04", "surprise": surprise}
    assert f"until then {told}" in unwritten_sentence(Figures(figures))


@pytest.mark.parametrize("chances", [None, [0.02, 0.0, 0.98]])
def test_nothing_is_asked_where_nothing_is_in_doubt(chances):
    assert unwritten_sentence(Figures({"unwritten": chances})) == ""


@pytest.mark.django_db
def test_a_fall_with_nothing_written_is_weighed_between_its_two_readings():
    bearing = makers.a_bearing()
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2010, 1, 5))
    for year, value in ((2012, "0.17"), (2014, "0.21"), (2016, "0.25"), (2018, "0.14"), (2020, "0.16")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 1, 5), value=value)
    known = inputs([bearing], AS_OF, Codes())
    clock = int(known.histories.clock[0])
    pool = Pool(clock, 9, 9, False, True, "", (Params(exponent=1.0),), (1.0,))
    figures = figures_of(known, Population((pool,)))[bearing.pk]
    assert figures["unwritten"][0] > 0.5
    assert (figures["unwritten_from"], figures["unwritten_until"]) == ("2016-01-05", "2018-01-05")


@pytest.mark.django_db
def test_a_bearing_of_a_class_that_follows_another_curve_says_that_it_is_the_class():
    bearing = makers.a_bearing(limits={"in_service_max": 400})
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2010, 1, 5))
    for year, value in ((2012, "0.15"), (2014, "0.165"), (2016, "0.18")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 1, 5), value=value)
    known = inputs([bearing], AS_OF, Codes())
    known_well = Params(effect_mean=(0.0,), effect_cov=((0.01,),))
    pool = Pool(int(known.histories.clock[0]), 9, 9, False, True, "", (known_well,), (1.0,))
    assert misfit_sentence(figures_of(known, Population((pool,)))[bearing.pk]) == ""
    figures = figures_of(known, Population((replace(pool, curved=(WHOLE,)),)))[bearing.pk]
    assert figures["outcome"] == "misfit" and figures["peers_curved"] == "fleet"
    assert "bearings of the whole fleet together wear along another curve" in misfit_sentence(figures)
