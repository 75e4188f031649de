"""The history's columns: the template a plant can download, and how each cell's text is read."""

from decimal import Decimal

from fleet.importing.columns import Column, day, identifier, measured, number, one_of, text, unit, whole
from fleet.importing.findings import Misfit
from fleet.importing.options import Options
from fleet.measuring_methods import METHODS
from fleet.units import Measured
from inspections.models import Basis, EventKind, Outcome, Quantity, Reason, Stage, Visit

READING, HOURS, METER_RESET = "reading", "hours", "meter_reset"
EVENTS = {
    READING: READING,
    **{str(kind): str(kind) for kind in EventKind.values},
    HOURS: HOURS,
    METER_RESET: METER_RESET,
}
PERCENT = "%"
MOST_HOURS = 10_000_000


def _words(choices: type) -> dict[str, str]:
    return {value: value for value in choices.values if value}  # type: ignore[attr-defined]


def _unit(typed: str, options: Options) -> str:
    """A unit of length, or the per cent of a contact check."""
    return PERCENT if typed in (PERCENT, "percent", "per cent") else unit(typed, options)


def _method(typed: str, options: Options) -> str:
    """A method by its word; one nobody knows yet is asked about later."""
    word = "_".join(typed.casefold().replace("-", " ").replace("_", " ").split())
    if word in METHODS:
        return word
    name = " ".join(typed.split())
    if len(name) > 40 or not name.isprintable():
        raise Misfit(typed, "a method in at most 40 characters", "shorten it", "too_long")
    return name


def _value(typed: str, options: Options) -> Measured:
    return measured(typed, options)


COLUMNS = (
    Column("site", identifier(80)),
    Column("pump", identifier(80), required=True),
    Column("position", identifier(40)),
    Column("date", day(past=True), required=True, takes_dates=True),
    Column("visit", identifier(80)),
    Column("why", one_of(_words(Visit.Why), "why the pump was opened", "why")),
    Column("outage", identifier(80)),
    Column("event", one_of(EVENTS, "an event", "event"), required=True),
    Column("stage", one_of(_words(Stage), "a stage", "stage")),
    Column("quantity", one_of(_words(Quantity), "a quantity", "quantity")),
    Column("basis", one_of(_words(Basis), "a basis", "basis")),
    Column("station", text(30)),
    Column("method", _method),
    Column("value", _value),
    Column("unit", _unit),
    Column("run_hours", number(Decimal(0), Decimal(MOST_HOURS), "h")),
    Column("run_hours_before", number(Decimal(0), Decimal(MOST_HOURS), "h")),
    Column("starts", whole(0, 100_000_000)),
    Column("shell", identifier(60)),
    Column("half", one_of({"lower": "lower", "upper": "upper", "both": ""}, "a half", "half")),
    Column("reason", one_of(_words(Reason), "a reason", "reason")),
    Column("outcome", one_of(_words(Outcome), "an outcome", "outcome")),
    Column("instrument", identifier(80)),
    Column("by", identifier(120)),
    Column("checked_by", identifier(120)),
    Column("job", identifier(80)),
    Column("note", text(10_000)),
    Column("entry_id", identifier(80), names_row=True),
)
