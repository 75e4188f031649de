"""Two records of one thing: one stands, the other names it, and both stay to be read."""

import datetime as dt
import json

import pytest

from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Entry
from inspections.bundle import quoted_entries, tables
from inspections.forecasts.current_forecasts import current
from inspections.models import Forecast, Reading
from inspections.records import duplicates
from inspections.records.openings import NotRecorded
from inspections.story.audit_trail import ledger_story
from tests import makers

pytestmark = pytest.mark.django_db
DAY = dt.date(2024, 5, 4)


@pytest.fixture
def bearing():
    return makers.a_bearing(place=makers.a_place(tag="Lift 1"))


@pytest.fixture
def twice(bearing):
    """One reading: sent by a device, and typed in from paper on another day's sheet."""
    sent = makers.a_reading(bearing=bearing, on=DAY, value="0.190")
    paper = makers.a_reading(bearing=bearing, on=DAY + dt.timedelta(days=1), value="0.19")
    return sent, paper


@pytest.fixture
def engineer(client, bearing):
    client.force_login(makers.an_account(site=bearing.place.site))
    return client


def posted(client, row, standing, **other):
    form = client.get(f"/bearings/Lift 1/DE/correct/{row.pk}/").context["join_form"]
    return {
        "act": "join",
        "reason": "paper copy",
        "seen": form.initial["seen"],
        "standing": str(standing.pk),
    } | other


def test_the_joined_one_names_the_standing_one_and_counts_no_more(bearing, twice):
    sent, paper = twice
    assert current([bearing], dt.date(2026, 6, 1))[bearing.pk]["readings"] == 2
    assert duplicates.join(row=paper, standing=sent, by=makers.somebody(), reason="paper copy")
    assert current([bearing], dt.date(2026, 6, 1))[bearing.pk]["readings"] == 1
    body = json.loads(Entry.objects.get(kind="withdrawal").text)["body"]
    assert body["instead"] == str(sent.pk) and body["joined"] and duplicates.joined_with(paper) == sent.pk
    assert list(Reading.objects.standing()) == [sent]


def test_the_page_joins_them_and_history_and_export_show_both(engineer, bearing, twice):
    sent, paper = twice
    answer = engineer.post(
        f"/bearings/Lift 1/DE/correct/{paper.pk}/", posted(engineer, paper, sent), follow=True
    )
    page = answer.content.decode()
    assert "Joined: the other one stands for both" in page
    assert "joined with entry no." in page and "typed 0.190 mm" in page and "typed 0.19 mm" in page
    story = tables.story_csv(ledger_story(bearing)).decode()
    assert "joined with entry no." in story and "paper copy" in story
    chains = quoted_entries.chains_of(bearing)
    own = quoted_entries.whole(chains, quoted_entries.heads_of(chains))
    readings = tables.readings_csv(bearing, tables.Changes.of(own, {})).decode()
    assert "joined with another" in readings and "paper copy" in readings


def test_joining_twice_stores_once(engineer, twice):
    sent, paper = twice
    data = posted(engineer, paper, sent)
    for _ in range(2):
        answer = engineer.post(f"/bearings/Lift 1/DE/correct/{paper.pk}/", data, follow=True)
    assert "The two were joined already; nothing was stored twice." in answer.content.decode()
    assert Entry.objects.filter(kind="withdrawal").count() == 1


def test_the_second_of_two_who_join_crosswise_is_told_and_one_record_stays(engineer, twice):
    sent, paper = twice
    other_way = posted(engineer, sent, paper)
    duplicates.join(row=paper, standing=sent, by=makers.somebody(), reason="paper copy")
    answer = engineer.post(f"/bearings/Lift 1/DE/correct/{sent.pk}/", other_way)
    assert "has been withdrawn already" in answer.content.decode()
    assert list(Reading.objects.standing()) == [sent]


@pytest.mark.parametrize("other", ["itself", "elsewhere", "quantity", "event", "withdrawn"])
def test_what_cannot_be_one_thing_is_refused(bearing, twice, other):
    sent, paper = twice
    if other == "withdrawn":
        duplicates.join(
            row=sent, standing=makers.a_reading(bearing=bearing), by=makers.somebody(), reason="copy"
        )
    standing = {
        "itself": lambda: paper,
        "elsewhere": lambda: makers.a_reading(bearing=makers.a_bearing()),
        "quantity": lambda: makers.a_reading(bearing=bearing, quantity="side_gap"),
        "event": lambda: makers.an_event(bearing=bearing, kind="scrape"),
        "withdrawn": lambda: sent,
    }[other]()
    with pytest.raises(NotRecorded):
        duplicates.join(row=paper, standing=standing, by=makers.somebody(), reason="paper copy")
    assert duplicates.joined_with(paper) is None


def test_without_a_reason_nothing_is_joined(engineer, twice):
    sent, paper = twice
    answer = engineer.post(
        f"/bearings/Lift 1/DE/correct/{paper.pk}/", posted(engineer, paper, sent, reason=" ")
    )
    assert "Say in a few words why the record changes." in answer.content.decode()
    assert Reading.objects.standing().count() == 2


def test_work_told_of_the_bearing_and_of_the_whole_pump_is_joined(bearing):
    own = makers.an_event(bearing=bearing, kind="alignment")
    whole = makers.an_event(place=bearing.place, kind="alignment")
    duplicates.join(row=own, standing=whole, by=makers.somebody(), reason="told in two sheets")
    own.refresh_from_db()
    assert own.withdrawn_by and verify().faults == []


def test_the_record_stays_sound_and_can_be_made_anew(bearing, twice):
    sent, paper = twice
    duplicates.join(row=paper, standing=sent, by=makers.somebody(), reason="paper copy")
    assert verify().faults == []
    rebuild([Forecast])
    assert verify().faults == [] and list(Reading.objects.standing()) == [sent]
