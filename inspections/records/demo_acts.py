"""The demo's own acts at a bearing: a reading put right, gauges checked, one of them found wrong."""

import datetime as dt

from django.db import transaction

from fleet import demonstration
from fleet.models import Calibration, Instrument
from fleet.plant.calibration import calibrate
from fleet.plant.people import person_named
from inspections.models import Reading
from inspections.records.corrections import correct_reading

ENGINEER = "R. Askeby"
CORRECTED = ("descale 1", "de", dt.date(2013, 5, 21), "9.0", "8.8")
# Label, checked on, fit, next due, remark.
CHECKS = (
    ("BG-02", dt.date(2024, 9, 16), True, dt.date(2025, 9, 16), "ring gauge, certificate in the gauge room"),
    ("BG-02", dt.date(2025, 9, 9), True, dt.date(2027, 9, 9), "ring gauge, certificate in the gauge room"),
    ("BM-1", dt.date(2025, 2, 3), True, dt.date(2026, 2, 3), "ball anvil true"),
    ("DI-5", dt.date(2019, 4, 1), True, dt.date(2021, 4, 1), "no play"),
    ("DI-5", dt.date(2023, 10, 4), False, None, "the spindle sticks: lifts read up to 0.02 mm small"),
)


def put_a_reading_right() -> str:
    """One reading of the old books, read off one mark too far."""
    pump, position, on, typed, should = CORRECTED
    rows = Reading.objects.filter(bearing__place__folded=pump, bearing__folded=position, on=on, typed=typed)
    wrong = rows.standing().order_by("entry_n").first()
    if wrong is not None:
        by = person_named(ENGINEER).pk
        correct_reading(
            reading=wrong, by=by, reason="read off one mark too far in the old book", value=should
        )
    elif not rows.exists():
        raise LookupError(f"the demo's sheets hold no reading of {typed} at {pump} {position} on {on}")
    return f"A reading of {on} put right at Descale 1 DE; both versions stand in its history"


@transaction.atomic
def check_the_gauges() -> str:
    """Checks of three gauges: one in time, one overdue, one found wrong."""
    by = person_named(ENGINEER).pk
    for label, on, fit, due, note in CHECKS:
        gauge = Instrument.objects.standing().filter(label=label).first()
        if gauge is not None and not Calibration.objects.filter(instrument=gauge, on=on).exists():
            calibrate(instrument=gauge, on=on, by=by, due_on=due, found_fit=fit, note=note)
    return "Gauges checked: one is overdue, one was found wrong and lists the readings in doubt (/gauges/)"


def register_acts() -> None:
    for act in (put_a_reading_right, check_the_gauges):
        demonstration.ACTS.add(act)
