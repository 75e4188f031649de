"""The columns of a register, and what its words stand for."""

from decimal import Decimal
from zoneinfo import available_timezones

from fleet.importing.columns import (
    Column,
    Options,
    day,
    identifier,
    number,
    one_of,
    text,
    unit,
    whole,
    yes_or_no,
)
from fleet.importing.findings import Misfit
from fleet.models import Authority, LimitUse, LoadSide, Seat

_ANY_LENGTH = number(0, 10**9)  # its own bounds are in um, held once the row's unit is known


def _time_zone(typed: str, options: Options) -> str:
    if typed not in available_timezones():
        raise Misfit(
            typed, "a time zone such as Etc/UTC or Region/City", "write it as the zone data do", "time_zone"
        )
    return typed


def _cents(typed: str, options: Options) -> Decimal:
    return number(0, 10**11)(typed, options).quantize(Decimal("0.01"))


def _duty(typed: str, options: Options) -> Decimal:
    return number(0, 24, "hours a day")(typed, options).quantize(Decimal("0.01"))


AUTHORITIES = {value: value for value in Authority.values} | {
    "customer specification": Authority.CUSTOMER.value,
    "customer's specification": Authority.CUSTOMER.value,
    "maker, this machine": Authority.MAKER_MACHINE.value,
    "maker's drawing": Authority.MAKER_MACHINE.value,
    "maker's manual": Authority.MAKER_MACHINE.value,
    "maker's general chart": Authority.MAKER_CHART.value,
    "maker's chart": Authority.MAKER_CHART.value,
    "general rule": Authority.GENERAL_RULE.value,
    "plant's own": Authority.PLANT.value,
}

# Column -> limit's use. All are held in um, a clearance as diametral.
LIMITS = {
    "new_clearance_min": LimitUse.FITTING_MIN.value,
    "new_clearance_max": LimitUse.FITTING_MAX.value,
    "in_service_min": LimitUse.IN_SERVICE_MIN.value,
    "in_service_max": LimitUse.IN_SERVICE_MAX.value,
    "replace_limit": LimitUse.REPLACE.value,
    "lining_min": LimitUse.LINING_MIN.value,
}
# Lengths that the row's basis speaks of.
CLEARANCES = tuple(name for name in LIMITS if name != "lining_min")
# Column -> least and most in um (record.md: the bounds of the quantities; a journal as the model has it).
BOUNDS_UM = {
    "journal_diameter": (1_000, 2_000_000),
    "length": (1_000, 2_000_000),
    "wall_new": (0, 200_000),
    "lining_new": (0, 200_000),
    "lining_min": (0, 200_000),
} | dict.fromkeys(CLEARANCES, (0, 10_000))

# Column -> field of PlaceFacts; they speak of the pump and may stand in any of its rows.
OF_THE_PUMP = {
    name: name
    for name in (
        "description",
        "model",
        "service",
        "speed_rpm",
        "duty_hours_per_day",
        "criticality",
        "consequence_money",
        "block",
        "twin",
    )
}
# Column -> field of BearingFacts.
OF_THE_POSITION = {
    "seat": "seat",
    "load_side": "load_side",
    "scrapeable": "scrapeable",
    "shell_type": "shell_type",
    "journal_diameter": "journal_diameter_um",
    "length": "length_um",
    "wall_new": "wall_new_um",
    "lining_new": "lining_new_um",
}

COLUMNS = (
    Column("site", identifier(80), required=True),
    Column("pump", identifier(80), required=True),
    Column("description", text(200), clearable=True, takes_dates=True),
    Column("model", text(80), clearable=True),
    Column("service", text(80), clearable=True),
    Column("speed_rpm", whole(1, 100_000, "rpm"), clearable=True),
    Column("duty_hours_per_day", _duty, clearable=True),
    Column("criticality", text(80), clearable=True),
    Column("consequence_money", _cents, clearable=True),
    Column("block", text(80), clearable=True),
    Column("twin", identifier(80), clearable=True),
    Column("time_zone", _time_zone),
    Column("position", identifier(40), required=True),
    Column("seat", one_of({word: word for word in Seat.values}, "a seat"), clearable=True),
    Column("load_side", one_of({word: word for word in LoadSide.values}, "a load side"), clearable=True),
    Column("shell", identifier(60), clearable=True),
    Column("fitted_on", day(past=True), clearable=True, takes_dates=True),
    Column("journal_diameter", _ANY_LENGTH, clearable=True),
    Column("length", _ANY_LENGTH, clearable=True),
    *(Column(name, _ANY_LENGTH, clearable=True) for name in LIMITS if name != "lining_min"),
    Column("limit_basis", one_of(AUTHORITIES, "who says so"), clearable=True),
    Column("limit_document", text(120), clearable=True, takes_dates=True),
    Column("limits_from", day(), takes_dates=True),
    Column("wall_new", _ANY_LENGTH, clearable=True),
    Column("lining_new", _ANY_LENGTH, clearable=True),
    Column("lining_min", _ANY_LENGTH, clearable=True),
    Column("scrapeable", yes_or_no, clearable=True),
    Column("shell_type", identifier(80), clearable=True),
    Column("class", identifier(80), clearable=True),
    Column("basis", one_of({"diametral": "diametral", "radial": "radial"}, "a basis", "basis")),
    Column("unit", unit),
)
