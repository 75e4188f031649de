"""Closing a whole pump: both bearings' unmeasured things, a decision for each that was recorded; cautions as
plant data.
"""

import datetime as dt
import json

import pytest

from fleet.models import Entry
from fleet.plant.choices import set_setting
from inspections.forecasts.reproduction import DIFFERS, EQUAL, recompute
from inspections.models import ContactCheck, Decision, NotMeasured, Visit
from inspections.visits.cautions import cautions_for
from tests import makers
from tests.fleet.ledger.story import guards_lifted
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def pair():
    place = makers.a_place(tag="pair")
    return [a_worn_bearing(place=place, position=name) for name in ("DE", "NDE")]


def test_a_bearing_nobody_touched_is_one_question_and_every_station_of_it_says_why(pair):
    one, other = pair
    client = a_mechanic(one)
    begin(client, one)
    for _ in range(2):
        read(client, one, "0.205")
    page = said(client.get(at(one, "close/")))
    assert "NDE: nothing was recorded of it" in page
    client.post(
        at(one, "close/"), {"decided": "close up", "listed": "yes", f"because all {other.pk}": "no_time"}
    )
    rows = NotMeasured.objects.filter(bearing=other)
    assert {(row.end, row.because) for row in rows} == {("in", "no_time"), ("out", "no_time")}
    assert Visit.objects.filter(closed_on=today_of(one)).exists()


def test_what_is_missing_at_the_other_bearing_is_asked_for_station_by_station(pair):
    one, other = pair
    client = a_mechanic(one)
    begin(client, one)
    for _ in range(2):
        read(client, one, "0.205")
    read(client, other, "0.206")
    page = said(client.post(at(one, "close/"), {"decided": "close up", "listed": "yes"}))
    assert "Say why this was not measured: NDE: as found, outer end." in page
    client.post(
        at(one, "close/"),
        {
            "decided": "close up",
            "listed": "yes",
            f"decided {other.pk}": "replace",
            f"why {other.pk}": "shell at hand",
            f"because as_found out-12 {other.pk}": "no_access",
        },
    )
    decided = {row.bearing_id: row.decided for row in Decision.objects.all()}
    assert decided == {one.pk: "close_up", other.pk: "replace"}
    receipt = said(client.get(at(other, "receipt/", visit=Visit.objects.get(closed_on=today_of(one)).pk)))
    assert "Replace: shell at hand" in receipt


def test_a_decision_at_closing_keeps_its_figures_so_that_one_that_differs_is_named(pair):
    one, other = pair
    client = a_mechanic(one)
    begin(client, one)
    for _ in range(2):
        read(client, one, "0.205")
    client.post(
        at(one, "close/"), {"decided": "close up", "listed": "yes", f"because all {other.pk}": "no_time"}
    )
    makers.a_reading(bearing=one, on=dt.date(2021, 5, 4), value="0.240")
    assert [again.outcome for again in recompute()] == [EQUAL]
    entry = Entry.objects.get(kind="forecast_relied_on")
    kept = json.loads(entry.text)
    assert kept["body"]["decision"] == str(Decision.objects.get().pk)
    kept["body"]["said"]["advice"] = "leave it"
    with guards_lifted():
        Entry.objects.filter(pk=entry.pk).update(text=json.dumps(kept))
    (again,) = recompute()
    assert again.outcome == DIFFERS and again.why.startswith("advice was leave it, recomputed ")


def test_country_rules_are_the_sites_own_words_and_the_shipped_ones_are_marked():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    page = said(client.get(at(bearing)))
    assert "29 CFR 1910.147" in page and "shipped default" in page
    own = {"isolation": "Lock, tag, try.", "rules": "Plant rule 7", "source": "safety board, 2026"}
    set_setting(name="cautions", value=own, site=bearing.place.site, by=makers.somebody())
    (packed,) = client.get("/record/pack/").json()["bearings"]
    assert packed["cautions"] == "Lock, tag, try. (Plant rule 7.)"
    assert "29 CFR" not in said(client.get("/record/offline/"))
    for address in (at(bearing), at(bearing, "sheet/")):
        page = said(client.get(address))
        assert "29 CFR" not in page and "Plant rule 7" in page, address


def test_a_cautions_setting_that_cannot_be_read_leaves_the_shipped_ones():
    bearing = a_worn_bearing()
    set_setting(name="cautions", value="none", by=makers.somebody())
    assert cautions_for(bearing.place.site, dt.date.today()).shipped


def test_the_upper_half_is_the_second_print_of_the_same_round():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    taken = {
        "drawn": "both_ends",
        "in_place": "no",
        "half": "lower",
        "match_mark": "top left",
        "worn_arc_deg": "100",
    }
    page = client.post(at(bearing, "contact/"), taken, follow=True)
    text = said(page)
    assert (
        "Check the upper half too" in text
        and "▼ mark" in text
        and "worn arc 100°" in text
        and "Print arc" in text
    )
    client.post(
        at(bearing, "contact/", half="upper"), {"drawn": "full_length", "in_place": "no", "half": "upper"}
    )
    assert [(c.half, c.round) for c in ContactCheck.objects.order_by("entry_n")] == [
        ("lower", 1),
        ("upper", 1),
    ]
    # The lower half still asks for more, whichever print came last.
    assert "both ends carry, the middle does not" in said(client.get(at(bearing, "close/")))
    client.post(at(bearing, "contact/"), {"drawn": "full_length", "in_place": "no", "half": "lower"})
    assert ContactCheck.objects.filter(half="lower").order_by("-entry_n").first().round == 1  # none scraped


def test_finer_cells_are_read_as_the_coarse_ones_were():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "contact/"), {"drawn": "both_ends", "in_place": "yes", "half": "lower"})
    coarse = ContactCheck.objects.get()
    page = client.post(at(bearing, "print/"), {"finer": "yes"}).content.decode()
    text = page.split('name="cells" value="')[1].split('"')[0]
    assert [len(line) for line in text.split("/")] == [14] * 10
    client.post(at(bearing, "print/"), {"keep": "yes", "cells": text, "in_place": "yes", "half": "lower"})
    fine = ContactCheck.objects.standing().get()
    assert fine.supersedes == coarse.pk and fine.conditions["headline"] == coarse.conditions["headline"]
