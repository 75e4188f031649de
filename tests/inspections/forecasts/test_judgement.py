"""Judgements: one word, outage and trigger for each bearing, stored with the forecast, the same wherever they
are asked.
"""

import datetime as dt
import json
from decimal import Decimal

import pytest

from fleet.models import Bearing, WorkHours
from fleet.plant.acts import record
from fleet.plant.choices import set_setting
from fleet.plant.renaming import rename
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement import current_judgements as asked
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import ALWAYS, Judgement, Why, Word
from inspections.forecasts.refit import refit
from inspections.records.recording import close_visit, open_visit
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)
YEARS = (2014, 2017, 2020, 2023)


def worn(*, place=None, position="DE", rises=(0, 20, 41, 60), last=None, **facts):
    """A bearing measured four times, from 150 um on; `last` more than the line, um."""
    bearing = makers.a_bearing(place=place, position=position, **facts)
    for year, rise in zip(YEARS, rises, strict=True):
        more = last if last and year == YEARS[-1] else 0
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=f"0.{150 + rise + more}")
    return bearing


@pytest.fixture
def site():
    """A site of three even wearers, so that the fleet is not too young to say anything."""
    found = makers.a_site(name="Whole")
    for rises in ((0, 20, 41, 60), (0, 18, 35, 55), (0, 22, 45, 66)):
        worn(place=makers.a_place(site=found, positions=("DE",)), rises=rises)
    return found


def of(bearing, day=TODAY):
    return judgements([bearing], day)[bearing.pk]


def at(site, tag="P-AT", positions=("DE",), **facts):
    return makers.a_place(site=site, tag=tag, positions=positions, **facts)


def test_a_bearing_left_closed_names_its_outage_its_trigger_and_the_chance_until_then(site):
    makers.an_outage(site=site, start_on=dt.date(2026, 9, 1), name="autumn 2026")
    made = of(worn(place=at(site), rises=(0, 28, 55, 85)))
    assert made.word == Word.LEAVE and made.first > 0 and made.columns[0].name == "autumn 2026"
    assert 210 < made.at.scrape_from_um <= made.at.trigger_um < 300
    assert made.columns[0].past <= made.at.past <= made.accepted_risk == 0.1
    assert made.at.waiting_h == made.postponing_h > 0


def test_the_chance_is_that_of_the_forecast_also_where_the_last_reading_surprises(site):
    makers.an_outage(site=site, start_on=dt.date(2027, 9, 1), name="autumn 2027")
    bearing = worn(place=at(site), last=55)
    figures = current([bearing], TODAY)[bearing.pk]
    assert figures["surprise"] < 0.02
    assert of(bearing).columns[0].past == pytest.approx(figures["p_max_before_next_outage"], abs=5e-4)


def test_a_bearing_past_its_maximum_asks_for_a_decision_now(site):
    made = of(worn(place=at(site), rises=(0, 50, 100, 160)))
    assert (made.word, made.why, made.first) == (Word.DECIDE_NOW, Why.PAST, 0)
    assert made.past_now >= 0.5 and made.stopping_h is not None
    assert made.replacement_expected and made.at.trigger_is


def test_what_stands_open_is_neither_to_be_opened_nor_left_closed_until_it_is_closed(site):
    makers.an_outage(site=site, start_on=dt.date(2026, 9, 1), name="autumn 2026")
    rises = {"P-PAST": (0, 50, 100, 160), "P-LEFT": (0, 28, 55, 85)}
    both = [worn(place=at(site, tag=tag), rises=some) for tag, some in rises.items()]
    none = worn(place=at(site, tag="P-NONE"), limits={"fitting_min": 140, "fitting_max": 170})
    closed = [of(one) for one in both]
    assert [one.word for one in closed] == [Word.DECIDE_NOW, Word.LEAVE]
    opened = [open_visit(place=one.place, on=TODAY, by=makers.somebody()) for one in (*both, none)]
    told = [of(one) for one in both]
    assert {(one.word, one.open_since) for one in told} == {(Word.OPEN, TODAY)}
    assert [one.with_pump_open(None) for one in told] == closed
    assert (of(none).word, of(none).open_since) == (Word.SET_LIMIT, TODAY)
    assert of(both[0], TODAY - dt.timedelta(days=1)).open_since is None
    assert of(both[0], TODAY + dt.timedelta(days=200)).open_since is None  # left open and forgotten
    kept = told[0].to_json()
    assert Judgement.from_json(json.loads(json.dumps(kept))) == told[0]
    of_before = {name: value for name, value in kept.items() if name not in ("open_since", "if_closed")}
    assert Judgement.from_json(of_before | {"format": 3}).open_since is None
    for visit in opened:
        close_visit(visit=visit, on=TODAY, by=makers.somebody())
    assert [of(one) for one in both] == closed


def test_without_a_maximum_a_limit_is_asked_for_and_nothing_is_said(site):
    made = of(worn(place=at(site), limits={"fitting_min": 140, "fitting_max": 170}))
    assert (made.word, made.why, made.at, made.price_h) == (Word.SET_LIMIT, Why.NO_MAXIMUM, None, None)


def test_the_plants_replace_limit_stands_in_for_a_maximum(site):
    made = of(worn(place=at(site), limits={"fitting_min": 140, "fitting_max": 170, "replace": 300}))
    assert made.limit_from == "replace" and made.limit_um == 300 and made.at.trigger_um < 300


def test_the_plants_replace_limit_is_the_trigger_where_it_is_the_lower(site):
    bearing = worn(place=at(site), limits=makers.LIMITS | {"replace": 230})
    made = of(bearing)
    assert (made.at.trigger_um, made.at.trigger_from) == (230, "plant")


def test_a_maximum_under_the_fitted_clearance_has_no_life_and_is_named(site):
    limits = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 110}
    made = of(worn(place=at(site), limits=limits))
    assert (made.word, made.why, made.at) == (Word.SET_LIMIT, Why.NO_LIFE, None)


def test_too_young_a_fleet_leaves_it_to_the_engineer():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    made = of(bearing)
    assert (made.word, made.why, made.at) == (Word.ENGINEER, Why.YOUNG, None)
    assert not any(column.trigger_is for column in made.columns)


def test_what_does_not_follow_steady_wear_is_opened_next_and_the_engineer_decides(site, monkeypatch):
    makers.an_outage(site=site, start_on=dt.date(2026, 9, 1), name="autumn 2026")
    place = at(site, positions=("DE", "NDE"))
    odd, even = worn(place=place), worn(place=place, position="NDE")
    before = current([odd, even], TODAY)
    before[odd.pk].values["outcome"] = "misfit"
    monkeypatch.setattr(asked, "current", lambda *given: before)
    found = judgements([odd, even], TODAY)
    assert (found[odd.pk].word, found[odd.pk].why) == (Word.ENGINEER, Why.MISFIT)
    assert found[odd.pk].at.name == "autumn 2026" and found[odd.pk].at.trigger_is == ""
    assert (found[even.pk].word, found[even.pk].why) == (Word.OPEN, Why.BESIDE)


def test_a_contact_finding_opens_the_pump_at_its_next_outage(site):
    makers.an_outage(site=site, start_on=dt.date(2026, 9, 1), name="autumn 2026")
    place = at(site, positions=("DE", "NDE"))
    bearing, other = worn(place=place), worn(place=place, position="NDE")
    assert of(other).word == Word.LEAVE
    makers.an_event(bearing=bearing, kind="contact_check", on=dt.date(2023, 5, 5), outcome="scrape")
    assert (of(bearing).word, of(bearing).why, of(bearing).contact_open) == (Word.OPEN, Why.CONTACT, True)
    assert of(other).at == of(other).columns[0] and not of(other).contact_open


def test_a_running_outage_counts_until_its_last_day_and_not_once_all_was_measured_in_it(site):
    outage = makers.an_outage(site=site, start_on=dt.date(2026, 5, 25), days=14, name="running")
    bearing = worn(place=at(site))
    assert of(bearing).columns[0].outage == str(outage.pk)
    assert of(bearing, outage.end_on).columns[0].name == "running"
    assert of(bearing, outage.end_on + dt.timedelta(days=1)).columns[0].name == ""
    makers.a_reading(bearing=bearing, on=dt.date(2026, 5, 28), value="0.229")
    assert of(bearing).columns[0].name == ""


def test_a_pump_closed_in_the_running_outage_has_had_its_opening_though_a_bearing_was_not_measured(site):
    outage = makers.an_outage(site=site, start_on=dt.date(2026, 5, 25), days=14, name="running")
    makers.an_outage(site=site, start_on=dt.date(2027, 9, 1), name="autumn 2027")
    place = at(site, positions=("DE", "NDE"))
    both = [worn(place=place), worn(place=place, position="NDE")]
    day = outage.start_on + dt.timedelta(days=3)
    visit = open_visit(place=place, on=day, by=makers.somebody())
    makers.a_reading(bearing=both[0], on=day, value="0.229", visit=visit)
    assert [of(one).columns[0].name for one in both] == ["running", "running"]
    close_visit(visit=visit, on=day, by=makers.somebody())
    assert [of(one).columns[0].name for one in both] == ["autumn 2027", "autumn 2027"]
    assert of(both[1], day - dt.timedelta(days=1)).columns[0].name == "running"
    open_visit(place=place, on=day + dt.timedelta(days=1), by=makers.somebody())
    assert [of(one).columns[0].name for one in both] == ["running", "running"]


def test_without_an_outage_the_usual_eighteen_months_are_taken_and_marked(site):
    made = of(worn(place=at(site)))
    assert not any(column.known for column in made.columns)
    assert (made.columns[0].start_on - TODAY).days == 548


def test_a_pump_that_hardly_runs_is_left_closed():
    found = makers.a_site(name="Standby")
    places = [at(found, tag=f"F-{k}", duty_hours_per_day=Decimal(2)) for k in range(3)]
    rises = ((0, 2, 3, 5), (0, 1, 3, 5), (0, 2, 4, 5))
    bearings = [worn(place=place, rises=row) for place, row in zip(places, rises, strict=True)]
    made = of(bearings[0])
    assert made.word == Word.LEAVE and made.first == len(made.columns) - 1


def test_a_scrape_without_room_is_said(site):
    limits = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 176}
    made = of(worn(place=at(site), rises=(0, 4, 6, 8), limits=limits))
    assert made.columns[0].no_room


def test_stored_judgements_serve_as_long_as_nothing_changed_and_say_the_same_as_fresh_ones(site, monkeypatch):
    day = dt.date.today()
    monkeypatch.setattr("inspections.forecasts.refit.today_in", lambda zone: day)
    place = at(site, positions=("DE", "NDE"))
    bearing, beside = worn(place=place), worn(place=place, position="NDE")
    fresh = of(bearing, day)
    refit(by=makers.somebody())
    with monkeypatch.context() as still:
        still.setattr(asked, "reckoned_of", lambda *given: pytest.fail("worked out anew"))
        stored = of(bearing, day)
    assert stored.forecast_hash and (stored.word, stored.first) == (fresh.word, fresh.first)
    assert stored.at.trigger_um == pytest.approx(fresh.at.trigger_um, abs=0.5)
    makers.a_reading(bearing=beside, on=day, value="0.290")
    assert of(bearing, day).first < stored.first
    again = of(beside, day)
    record(
        [WorkHours(open_hours=60, measure_hours=2, scrape_hours=8, replace_hours=12)], by=makers.somebody()
    )
    assert of(beside, day).open_h == 60 != again.open_h


def test_a_judgement_comes_back_from_its_stored_text_as_it_was(site):
    made = of(worn(place=at(site)))
    assert Judgement.from_json(json.loads(json.dumps(made.to_json(), allow_nan=False))) == made
    assert Judgement.from_json({"format": 0}) is None


def test_the_plants_risk_consequence_and_stop_are_taken(site):
    usual = worn(place=at(site, tag="P-USUAL", criticality="spare", consequence_money=Decimal(10_000)))
    dear = worn(place=at(site, tag="P-DEAR", criticality="Duty", consequence_money=Decimal(30_000)))
    set_setting(name="accepted_risk_by_criticality", value={"duty": "0.06"}, by=makers.somebody())
    set_setting(name="stop_hours", value={"P-DEAR": "33"}, by=makers.somebody())
    found = judgements([usual, dear], TODAY)
    one, other = found[usual.pk], found[dear.pk]
    assert (one.accepted_risk, one.consequence, one.stop_h) == (0.1, 1.0, None)
    assert (other.consequence, other.stop_h) == (1.5, 33.0)
    assert other.accepted_risk == pytest.approx(0.04) and other.at.past < 0.04
    assert other.at.trigger_um < one.at.trigger_um and other.price_h > one.price_h
    assert ALWAYS not in {one.at.trigger_is, other.at.trigger_is}


def test_what_is_stated_of_a_pump_goes_with_it_when_it_is_renamed(site):
    bearing = worn(place=at(site, tag="P-OLD"))
    for name, value in (("consequence_factors", {"P-OLD": "2"}), ("stop_hours", {"P-OLD": "33"})):
        set_setting(name=name, value=value, by=makers.somebody())
    before = of(bearing)
    facts = {"from_on": None, "reason": "called so at the panel", "by": makers.somebody()}
    rename(bearing.place, name="P-NEW", **facts)
    rename(bearing.place, name="P-NEWER", **facts)
    after = of(Bearing.objects.select_related("place__site").get(pk=bearing.pk))
    assert (before.consequence, before.stop_h) == (after.consequence, after.stop_h) == (2.0, 33.0)


def test_what_is_stated_by_a_name_is_of_the_pump_that_has_the_name_now(site):
    bearing = worn(place=at(site, tag="P-OLD"))
    set_setting(name="stop_hours", value={"P-OLD": "33"}, by=makers.somebody())
    rename(bearing.place, name="P-NEW", from_on=None, reason="moved", by=makers.somebody())
    other = worn(place=at(site, tag="P-OLD"))
    rows = Bearing.objects.select_related("place__site")
    assert of(rows.get(pk=other.pk)).stop_h == 33.0
    assert of(rows.get(pk=bearing.pk)).stop_h is None
