"""What no measuring foresees is counted once a visit, by class, and told as a rate only from three on."""

import datetime as dt

import pytest

from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts import computation
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.refit import refit
from inspections.forecasts.sudden_failures import NO_CLASS, sudden_failures
from inspections.visits import acts
from tests import makers

pytestmark = pytest.mark.django_db
DAY = dt.date(2026, 6, 1)


def _found(bearing, on, *words):
    visit = acts.begin(bearing=bearing, on=on, by=makers.somebody())
    acts.see(
        visit=visit,
        bearing=bearing,
        on=on,
        by=makers.somebody(),
        parts={"lower half": {"words": list(words)}},
    )


@pytest.fixture
def bearing():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, on=DAY - dt.timedelta(days=3653))
    return bearing


def test_two_words_of_one_visit_are_one_failure_and_too_few_for_a_rate(bearing):
    _found(bearing, DAY, "wiped", "loose bond")
    (row,) = sudden_failures([bearing.place.site], DAY)
    assert (row.name, row.hazard.n, round(row.hazard.observed_years)) == (NO_CLASS, 1, 10)
    assert (
        row.sentence.replace("\u202f", " ").replace("\u00a0", " ")
        == "1 sudden failure in 10 bearing years: too few for a rate."
    )


def test_a_shell_changed_as_damaged_counts_and_three_tell_a_rate(bearing):
    for days in (900, 500, 100):
        on = DAY - dt.timedelta(days=days)
        makers.an_event(kind="shell_change", bearing=bearing, on=on, reason="damaged")
    makers.an_event(kind="shell_change", bearing=bearing, on=DAY, reason="worn")
    (row,) = sudden_failures([bearing.place.site], DAY)
    # The fleet: (0.5 + 3) / (50 + 10) a year, worth 50 years; then (2.9166 + 3) / (50 + 10).
    assert row.hazard.n == 3 and row.hazard.a_year == pytest.approx(0.0986, abs=1e-3)
    assert "about 9.9 in 100 a year" in row.sentence


def test_light_scoring_and_another_sites_failures_do_not_count(bearing):
    _found(bearing, DAY, "lightly scored")
    other = makers.a_bearing(place=makers.a_place(site=makers.a_site()))
    makers.an_event(kind="shell_change", bearing=other, on=DAY, reason="damaged")
    assert sudden_failures([bearing.place.site], DAY) == []


def test_the_page_tells_the_count_and_where_it_is_explained(client, bearing):
    makers.an_event(kind="shell_change", bearing=bearing, on=DAY, reason="damaged")
    client.force_login(makers.an_account(site=bearing.place.site))
    page = client.get("/trends/").content.decode()
    assert "What measuring cannot foresee" in page and "too few for a rate" in page and "#sudden" in page


def test_a_bearings_page_tells_its_classs_count_and_the_curve_its_dates_follow(client, bearing, monkeypatch):
    makers.an_event(kind="shell_change", bearing=bearing, on=DAY, reason="damaged")
    monkeypatch.setattr(computation, "_exponents", lambda h, population: [(1.52, "class")] * h.n_bearings)
    run = refit(by=makers.somebody())
    kept = run.parameters["sudden"][str(bearing.place.site_id)][NO_CLASS]
    assert kept["n"] == 1 and kept["a_year"] is None
    client.force_login(makers.an_account(site=bearing.place.site))
    page = client.get(bearing_address(bearing)).content.decode().replace("\u00a0", " ").replace("\u202f", " ")
    assert (
        "Among the bearings here without a class, 1 sudden failure in 1" in page
        and "too few for a rate" in page
    )
    assert "among bearings of its class wear goes with a shell" in page and "to the power 1.52" in page


def test_another_sites_failures_are_not_told_here(bearing):
    other = makers.a_bearing(place=makers.a_place(site=makers.a_site()))
    makers.an_event(kind="shell_change", bearing=other, on=DAY, reason="damaged")
    refit(by=makers.somebody())
    assert current([bearing])[bearing.pk]["sudden"] is None
    assert current([other])[other.pk]["sudden"]["n"] == 1
