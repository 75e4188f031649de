"""How good the record is: each gap is told of the bearings that have it, with what one
measurement would add.
"""

import datetime as dt
import re

import pytest

from dashboards.quality.gaps import quality
from fleet.models import Bearing
from inspections.forecasts.codes import Codes
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.wear_inputs import inputs
from inspections.story.uncertainty import spreads
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def looked_at(*bearings):
    some = list(Bearing.objects.filter(pk__in=[b.pk for b in bearings]).select_related("place__site"))
    known = inputs(some, TODAY, Codes())
    return quality(known.known, current(some, TODAY), spreads(TODAY), judgements(some, TODAY))


def found(made, code):
    return [(line.found, line.adds) for c in made.concerns if c.code == code for line in c.lines]


def read(bearing, *values, **more):
    for year, value in values:
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value, **more)


def test_a_bearing_without_readings_limit_or_hours_is_told_under_each():
    bearing = makers.a_bearing(limits={})
    made = looked_at(bearing)
    assert [c.code for c in made.concerns] == ["no_reading", "no_limit", "no_hours"]
    assert made.n_sound == 0 and "1 bearing" in made.saying().replace("\u00a0", " ")


def test_what_one_reading_would_add_is_told_in_micrometres():
    bearing = makers.a_bearing()
    read(bearing, (2012, "0.150"))
    ((said, adds),) = found(looked_at(bearing), "few")
    assert said == "one reading of this shell, so no rate of its own"
    assert "bore gauge" in adds and "instead of" in adds and adds.index("6") < adds.index("instead")


def test_a_fall_without_work_is_unknown_work_and_with_a_shell_change_is_not():
    one, other = makers.a_bearing(), makers.a_bearing()
    read(one, (2012, "0.220"), (2016, "0.150"))
    read(other, (2012, "0.220"), (2016, "0.150"))
    makers.an_event(kind="shell_change", bearing=other, on=dt.date(2013, 5, 4))
    ((said, _),) = found(looked_at(one, other), "unknown_work")
    assert "220" in said and "150" in said


def test_ends_that_differ_by_more_than_readings_do_are_tapered():
    bearing = makers.a_bearing()
    for station, value in (("in-12", "0.210"), ("out-12", "0.150")):
        makers.a_reading(bearing=bearing, on=dt.date(2020, 5, 4), value=value, station=station)
    ((said, _),) = found(looked_at(bearing), "tapered")
    assert "60" in said and "on the pump side" in said


def test_two_methods_of_one_visit_that_disagree_are_told_and_two_that_agree_are_not():
    one, other = makers.a_bearing(), makers.a_bearing()
    for bearing, value in ((one, "0.260"), (other, "0.205")):
        read(bearing, (2020, "0.200"))
        read(bearing, (2020, value), method="feeler")
    made = looked_at(one, other)
    ((said, _),) = found(made, "methods")
    assert "by bore gauge" in said and "by feeler" in said


def test_a_record_that_lacks_nothing_says_so():
    bearing = makers.a_bearing(place=makers.a_place(positions=("DE",), duty_hours_per_day=20))
    read(bearing, (2023, "0.150"), (2024, "0.155"), (2025, "0.160"))
    assert looked_at(bearing).saying().startswith("Nothing is missing")


def test_the_page_leads_to_the_bearings_and_asks_as_much_for_20_as_for_2(
    client, django_assert_max_num_queries
):
    site = makers.a_site()
    client.force_login(makers.an_account(site=site))
    for _ in range(2):
        makers.a_bearing(place=makers.a_place(site=site, positions=("DE",)), limits={})
    client.get("/quality/")
    with django_assert_max_num_queries(80) as few:
        page = client.get("/quality/").content.decode()
        n_few = len(few)
    assert "How good is the record?" in page and "/bearings/" in page
    for _ in range(18):
        makers.a_bearing(place=makers.a_place(site=site, positions=("DE",)), limits={})
    client.get("/quality/")
    with django_assert_max_num_queries(n_few):
        client.get("/quality/")


def test_nothing_of_another_site_is_shown(client):
    bearing = makers.a_bearing(limits={})
    client.force_login(makers.an_account(site=makers.a_site()))
    assert bearing.place.tag not in client.get("/quality/").content.decode()


def test_a_maximum_under_the_fitted_clearance_is_named_and_counted_as_no_passing():
    worn = [makers.a_bearing(place=makers.a_place(positions=("DE",))) for _ in range(3)]
    limits = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 110}
    worn.append(makers.a_bearing(place=makers.a_place(positions=("DE",)), limits=limits))
    for bearing in worn:
        read(bearing, (2014, "0.150"), (2018, "0.170"), (2022, "0.191"))
    made = looked_at(*worn)
    ((said, adds),) = found(made, "wrong_limit")
    assert said.startswith("its maximum of") and "the bore, is wrong" in said and "book" in adds
    assert {code: n for code, _, n in made.outcomes}.get("past_limit", 0) == 0


def test_what_a_reading_decides_is_told_in_the_words_of_the_list():
    bearings = [makers.a_bearing(place=makers.a_place(positions=("DE",))) for _ in range(4)]
    for bearing in bearings[:3]:
        read(bearing, (2014, "0.150"), (2018, "0.170"), (2022, "0.191"))
    read(bearings[3], (2022, "0.150"))
    made = looked_at(*bearings)
    ((line,),) = (c.lines for c in made.concerns if c.code == "few")
    assert re.match(r"It decides in [^:]+: replace from \d+", line.decides.replace("\u00a0", " "))
