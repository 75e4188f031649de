"""Acts on a bearing: what they store, and what they refuse."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Entry, Installation, Person, ShellFitting, ShellHalf
from inspections.models import Event, MeterEntry, Reading, Visit
from inspections.records.corrections import correct_reading, set_not_for_wear, withdraw
from inspections.records.openings import NotRecorded
from inspections.records.recording import close_visit, open_visit
from tests import makers

pytestmark = pytest.mark.django_db
DAY = makers.THE_DAY


def test_an_inch_is_stored_as_25_400_micrometres_exactly():
    # By definition of 1959: 1 in = 25.4 mm exactly.
    reading = makers.a_reading(value="0.0060", unit="in")
    assert reading.value_um == Decimal("152.4")
    assert Reading.objects.get().value_um == Decimal("152.4000")
    assert makers.a_reading(value="1", unit="in", quantity="bore").value_um == Decimal("25400")


def test_what_was_typed_stays_beside_the_micrometres_with_its_smallest_step():
    reading = makers.a_reading(value="0.0060", unit="in")
    assert (reading.typed, reading.unit, reading.step_um) == ("0.0060", "in", Decimal("2.54"))


def test_a_radial_clearance_is_doubled_once_and_kept_as_typed():
    makers.a_reading(value="3", unit="mil", basis="radial")
    stored = Reading.objects.get()
    assert (stored.value_um, stored.typed, stored.basis) == (Decimal("152.4"), "3", "radial")
    assert stored.step_um == Decimal("50.8")


def test_a_bound_is_never_stored_as_a_number():
    makers.a_reading(value=">0.006", unit="in")
    stored = Reading.objects.get()
    assert (stored.value_um, stored.low_um, stored.high_um) == (None, Decimal("152.4"), None)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        ("nan", "mm", "nan"),
        ("1,5", "mm", "decimal"),
        ("11", "mm", "between 0 and 10 mm"),
        ("5", "furlong", "unit"),
    ],
)
def test_a_value_that_cannot_be_is_refused_with_a_sentence(value, unit, words):
    with pytest.raises(NotRecorded, match=words):
        makers.a_reading(value=value, unit=unit)
    assert not Reading.objects.exists()
    assert not Visit.objects.exists()


def test_a_day_to_come_is_refused():
    with pytest.raises(NotRecorded, match="lies ahead"):
        makers.a_reading(on=dt.date(2199, 1, 1))


def test_readings_of_one_pump_and_day_share_a_visit_and_those_of_another_day_do_not():
    place = makers.a_place()
    de, nde = makers.a_bearing(place=place), makers.a_bearing(place=place, position="NDE")
    first = makers.a_reading(bearing=de)
    second = makers.a_reading(bearing=nde)
    third = makers.a_reading(bearing=de, on=DAY + dt.timedelta(days=1))
    assert first.visit_id == second.visit_id != third.visit_id


def test_a_visit_opened_for_several_days_takes_what_names_it():
    bearing = makers.a_bearing()
    visit = open_visit(place=bearing.place, on=DAY, why="planned", by=makers.somebody())
    reading = makers.a_reading(bearing=bearing, on=DAY + dt.timedelta(days=2), visit=visit)
    close_visit(visit=visit, on=DAY + dt.timedelta(days=3), by=makers.somebody())
    assert reading.visit_id == visit.pk
    assert Visit.objects.get().closed_on == DAY + dt.timedelta(days=3)


def test_a_blank_stage_is_as_found_before_the_first_work_of_its_visit_and_as_left_after_it():
    bearing = makers.a_bearing()
    before = makers.a_reading(bearing=bearing, stage="")
    makers.an_event(bearing=bearing, kind="contact_check", outcome="scrape")
    still = makers.a_reading(bearing=bearing, stage="", method="feeler")
    makers.an_event(bearing=bearing, kind="scrape")
    after = makers.a_reading(bearing=bearing, stage="")
    assert [r.stage for r in (before, still, after)] == ["as_found", "as_found", "as_left"]


def test_oil_a_note_and_hours_alone_make_no_visit():
    bearing = makers.a_bearing()
    makers.an_event(kind="oil", place=bearing.place)
    makers.an_event(kind="note", bearing=bearing, note="smelt hot")
    makers.a_meter_entry(place=bearing.place)
    assert not Visit.objects.exists()


def test_a_changed_rotor_is_of_the_whole_pump_even_where_a_position_is_named():
    event = makers.an_event(kind="rotor_change")
    assert event.bearing_id is None
    assert Entry.objects.get(thing=event.pk).chain.startswith("pump:")


def test_after_a_pump_change_another_machine_keeps_the_meter():
    place = makers.a_place()
    before = makers.a_meter_entry(place=place, hours=90_000)
    makers.an_event(kind="pump_change", place=place, on=DAY + dt.timedelta(days=10))
    after = makers.a_meter_entry(place=place, hours=20, on=DAY + dt.timedelta(days=20))
    assert before.machine_id != after.machine_id
    assert Installation.objects.filter(place=place).count() == 2


def test_a_shell_change_fits_both_halves_and_a_half_change_fits_one():
    bearing = makers.a_bearing()
    makers.an_event(kind="shell_change", bearing=bearing, shell="S-0012")
    makers.an_event(
        kind="shell_change", bearing=bearing, shell="S-0013", half="lower", on=DAY + dt.timedelta(days=1)
    )
    assert sorted(ShellHalf.objects.values_list("serial", "half")) == [
        ("S-0012", "lower"),
        ("S-0012", "upper"),
        ("S-0013", "lower"),
    ]
    assert ShellFitting.objects.filter(bearing=bearing).count() == 3


def test_a_shell_without_serial_is_fitted_unknown():
    makers.an_event(kind="shell_change")
    assert not ShellHalf.objects.exists()
    assert set(ShellFitting.objects.values_list("half", "shell_id")) == {("lower", None), ("upper", None)}


def test_who_measured_is_found_by_name_whatever_its_case_and_made_once():
    bearing = makers.a_bearing()
    first = makers.a_reading(bearing=bearing, measured_by="A. Quill")
    second = makers.a_reading(bearing=bearing, measured_by="a. quill")
    assert first.measured_by == second.measured_by == Person.objects.get(name="A. Quill").pk


def test_a_corrected_reading_is_withdrawn_and_replaced_in_one_act():
    reading = makers.a_reading(value="1.50")
    new = correct_reading(reading=reading, value="0.150", by=makers.somebody(), reason="typed wrong")
    reading.refresh_from_db()
    assert reading.withdrawn_by == new.act
    assert new.supersedes == reading.pk
    assert (new.value_um, new.stage, new.visit_id) == (150, reading.stage, reading.visit_id)
    assert list(Reading.objects.for_wear()) == [new]


def test_a_reading_entered_at_the_wrong_end_moves_in_one_act_that_names_both():
    place = makers.a_place()
    de, nde = makers.a_bearing(place=place), makers.a_bearing(place=place, position="NDE")
    reading = makers.a_reading(bearing=de)
    new = correct_reading(reading=reading, bearing=nde, by=makers.somebody(), reason="wrong bearing")
    there, here = Entry.objects.filter(act=new.act).order_by("kind")
    assert (there.chain, here.chain) == (f"bearing:{nde.pk}", f"bearing:{de.pk}")
    assert str(reading.pk) in there.text
    assert str(new.pk) in here.text


def test_a_reason_is_needed_and_nothing_is_withdrawn_twice():
    reading = makers.a_reading()
    with pytest.raises(NotRecorded, match="reason"):
        withdraw(row=reading, by=makers.somebody(), reason="  ")
    withdraw(row=reading, by=makers.somebody(), reason="never measured")
    reading.refresh_from_db()
    with pytest.raises(NotRecorded, match="withdrawn already"):
        withdraw(row=reading, by=makers.somebody(), reason="again")


def test_a_withdrawal_stands_on_the_chain_of_what_it_withdraws():
    reading = makers.a_reading()
    withdraw(row=reading, by=makers.somebody(), reason="never measured")
    assert Entry.objects.get(kind="withdrawal").chain == f"bearing:{reading.bearing_id}"


def test_not_for_wear_is_reversible_and_keeps_its_reason():
    reading = makers.a_reading()
    set_not_for_wear(reading=reading, by=makers.somebody(), reason="cap was loose")
    assert (reading.not_for_wear, reading.not_for_wear_because) == (True, "cap was loose")
    set_not_for_wear(reading=reading, apart=False, by=makers.somebody(), reason="cap was right after all")
    assert (reading.not_for_wear, reading.not_for_wear_because) == (False, "")


def test_every_row_of_an_eventful_day_can_be_rebuilt_from_the_ledger():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.31", station="in-12", measured_by="Q", instrument="BG-02")
    makers.an_event(bearing=bearing, kind="shell_change", shell="0012", half="lower", reason="worn")
    makers.an_event(kind="pump_change", place=bearing.place)
    makers.a_meter_entry(place=bearing.place, hours=12, reset=True, hours_before=Decimal(90_000), starts=7)
    wrong = makers.a_reading(bearing=bearing, value="0.0062", unit="in", stage="as_left")
    correct_reading(reading=wrong, value="0.0060", by=makers.somebody(), reason="misread")
    tables = (Reading, Event, MeterEntry, Visit, ShellFitting)
    before = [list(table.objects.order_by("pk").values()) for table in tables]
    assert verify().faults == []
    rebuild()
    assert [list(table.objects.order_by("pk").values()) for table in tables] == before
