"""A little of everything that a plant records, for a database to keep."""

import datetime as dt
from pathlib import Path

from fleet import backup
from fleet.models import Role
from fleet.plant.accounts import end_role
from fleet.plant.calibration import calibrate
from fleet.plant.gauge_register import instrument_named
from fleet.plant.name_removal import blank_name
from inspections.limits.plant_choices import choose
from inspections.records.corrections import correct_reading, withdraw
from inspections.records.recording import close_visit, open_visit
from inspections.visits.signatures import bound_to, digest_of, sign
from tests import makers

SHEET = """pump,position,date,event,value,unit,method,instrument
P-101,DE,2018-02-01,reading,0.150,mm,bore_gauge,G-1
P-101,NDE,2018-02-01,reading,0.152,mm,bore_gauge,G-1"""


def record_a_little(path: Path) -> None:
    """Record it, and keep the whole as a backup."""
    by = makers.somebody()
    site = makers.a_site(name="Intake 1")
    place = makers.a_place(site=site, tag="P-101")
    de, nde = (makers.a_bearing(place=place, position=name) for name in ("DE", "NDE"))
    wrong = makers.a_reading(bearing=de, on=dt.date(2021, 3, 9), value="0.117")
    correct_reading(reading=wrong, by=by, reason="typed wrong", value="0.177")
    gone = makers.a_reading(bearing=nde, on=dt.date(2021, 3, 9), value="0.999")
    withdraw(row=gone, by=by, reason="another bearing")
    makers.an_event(bearing=de, kind="new_shell", on=dt.date(2019, 3, 3))
    makers.a_meter_entry(place=place, on=dt.date(2021, 3, 9), hours=12000)
    makers.an_outage(site=site, start_on=dt.date(2027, 6, 1), name="Summer")
    makers.a_photo(bearing=de)
    makers.an_account(role="engineer", site=site, username="engineer")
    signer = makers.an_account(role="foreman", site=site, username="foreman")
    leaver = makers.an_account(role="mechanic", site=site, username="mechanic")
    end_role(role=Role.objects.get(person=leaver.person), reason="left", by=by)
    blank_name(person=makers.a_person(name="Someone Else"), by=by)
    assert makers.a_sheet(SHEET, site="Intake 1").ok
    choose(name="accepted_risk", typed="5", site=site, from_on=None, by=by)
    gauge = instrument_named("G-2", method="bore_gauge", by=by)
    calibrate(instrument=gauge, on=dt.date(2023, 1, 1), due_on=dt.date(2027, 1, 1), by=by)
    visit = open_visit(place=place, on=dt.date(2024, 4, 4), by=by)
    makers.a_reading(bearing=de, on=dt.date(2024, 4, 4), value="0.231", visit=visit)
    close_visit(visit=visit, on=dt.date(2024, 4, 4), by=by)
    sign(visit=visit, account=signer, meaning="witnessed", seen=digest_of(bound_to(visit)))
    backup.back_up(path, by=by)
