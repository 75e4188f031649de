"""Two people, one visit: what comes late joins the visit it was begun in; two readings of one station ask
which counts.
"""

import pytest

from fleet.clock import now
from inspections.models import Event, NotMeasured, Reading, Visit
from tests.inspections.visits.test_offline_sync import an_entry, send
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, closed, read, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def bearing():
    return a_worn_bearing()


def closed_by_the_first(client, bearing):
    """A visit that one person read and closed; the instant at which another had begun without network."""
    begin(client, bearing)
    begun = now().isoformat()
    for _ in range(2):
        read(client, bearing, "0.205")
    client.post(at(bearing, "close/"), closed())
    return Visit.objects.get(attendances__part="signed"), begun


def receipt(client, bearing, visit):
    return said(client.get(at(bearing, "receipt/", visit=visit.pk)))


def test_a_reading_begun_before_the_closing_joins_that_visit_which_says_so(bearing):
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    visit, begun = closed_by_the_first(client, bearing)
    entry = an_entry(other, bearing, begun_at=begun, entered_at=now().isoformat(), station="mid")
    assert "Added to after closing" not in receipt(client, bearing, visit)
    assert send(other, entry) == [("stored", "")]
    assert Reading.objects.get(pk=entry["id"]).visit_id == visit.pk
    assert Visit.objects.standing().filter(opened_on=visit.opened_on).count() == 1, (
        "no second visit is left open"
    )
    assert "Added to after closing, from a device without network: 1 reading." in receipt(
        client, bearing, visit
    )
    assert "Added to after closing" in said(client.get(f"/bearings/{bearing.place.tag}/{bearing.name}/"))


def test_a_station_said_not_to_be_measured_that_comes_in_late_is_shown_as_measured_alone(bearing):
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    begin(client, bearing)
    begun = now().isoformat()
    read(client, bearing, "0.205")
    client.post(at(bearing, "close/"), closed(**{"because as_found out-12": "no_time"}))
    visit = Visit.objects.get(attendances__part="signed")
    assert "not measured: no time" in receipt(client, bearing, visit)
    entry = an_entry(other, bearing, begun_at=begun, entered_at=now().isoformat(), station="out-12")
    assert send(other, entry) == [("stored", "")]
    page = receipt(client, bearing, visit)
    assert "not measured" not in page and "Added to after closing" in page
    assert NotMeasured.objects.standing().count() == 1, "what was said stays in the record"


def test_what_was_begun_after_the_closing_is_a_visit_of_its_own(bearing):
    client = a_mechanic(bearing)
    visit, _ = closed_by_the_first(client, bearing)
    later = now().isoformat()
    entry = an_entry(client, bearing, begun_at=later, entered_at=later)
    assert send(client, entry) == [("stored", "")]
    assert Reading.objects.get(pk=entry["id"]).visit_id != visit.pk


@pytest.mark.parametrize("kind", ["reading", "scrape", "could_not"])
def test_an_entry_that_names_the_closed_visit_joins_it(bearing, kind):
    client = a_mechanic(bearing)
    visit, begun = closed_by_the_first(client, bearing)
    fields = {"fields": {"because": "no_time"}} if kind == "could_not" else {}
    entry = an_entry(client, bearing, kind, visit=str(visit.pk), entered_at=begun, station="mid") | fields
    assert send(client, entry) == [("stored", "")]
    assert "Added to after closing" in receipt(client, bearing, visit)


def test_two_as_found_readings_of_one_station_ask_which_counts(bearing):
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    begin(client, bearing)
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    visit = Visit.objects.get(closed_on=None, attendances__part="measured")
    entry = an_entry(other, bearing, visit=str(visit.pk), entered_at=now().isoformat())
    entry["fields"]["value"] = "0.240"
    assert send(other, entry) == [("stored", "")]
    page = said(client.get(at(bearing, "visit/")))
    assert "two readings stand side by side" in page and "0.240 mm" in page
    assert "Say on the pump's page which of them counts" in said(client.get(at(bearing, "close/"))).replace(
        "&#x27;", "'"
    )
    client.post(at(bearing, "counts/"), {"visit": visit.pk, "reading": entry["id"]})
    rows = Reading.objects.standing().filter(visit=visit, end="in", clock=12)
    assert [(row.typed, row.counts) for row in rows.order_by("typed")] == [("0.205", False), ("0.240", True)]
    assert "side by side" not in said(client.get(at(bearing, "visit/")))


def test_of_a_closed_visit_the_engineer_says_which_counts(bearing):
    client, engineer = a_mechanic(bearing), a_mechanic(bearing, "engineer")
    visit, begun = closed_by_the_first(client, bearing)
    entry = an_entry(client, bearing, begun_at=begun, entered_at=begun)
    assert send(client, entry) == [("stored", "")]
    assert "side by side" in receipt(client, bearing, visit)
    chosen = {"visit": visit.pk, "reading": entry["id"]}
    assert client.post(at(bearing, "counts/"), chosen).status_code == 403
    engineer.post(at(bearing, "counts/"), chosen)
    assert Reading.objects.filter(visit=visit, end="in", counts=True).count() == 1


def test_a_work_tapped_by_mistake_is_taken_back_in_one_tap_and_stays_in_the_record(bearing):
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    begin(client, bearing)
    client.post(
        at(bearing, "work/"), {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "yes"}
    )
    event = Event.objects.get(kind="shell_change")
    other.post(at(bearing, "taken-back/"), {"event": event.pk})
    assert Event.objects.standing().filter(pk=event.pk).exists(), "of somebody else it is not taken back here"
    assert "Take back" in said(client.get(at(bearing, "visit/")))
    client.post(at(bearing, "taken-back/"), {"event": event.pk})
    assert not Event.objects.standing().filter(pk=event.pk).exists()
    assert Event._base_manager.get(pk=event.pk).withdrawn_by
