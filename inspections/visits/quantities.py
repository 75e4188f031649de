"""What else is measured at an open bearing beside its clearance: where, what is taken off, and what is
expected.

Common practice, no published source, except where a source stands beside a fact.
"""

from dataclasses import dataclass

from inspections.forecasts.wear_inputs import Known
from inspections.models import Quantity
from inspections.story.observations import Measurement
from inspections.visits.stations import Station, station
from inspections.visits.verdict import FAR, Expected
from inspections.wear.normal import EIGHT_IN_TEN


@dataclass(frozen=True)
class Asked:
    """One quantity as it is asked for at the pump.

    `less`: what the gauge shows beside the quantity, to be taken off; `near`: how far, as a share of the last
    value, a new one may lie before a slip is asked about (None: not asked).
    """

    name: str
    words: str
    stations: tuple[str, ...]
    hint: str = ""
    less: str = ""
    near: float | None = None


ASKED: dict[str, Asked] = {
    one.name: one
    for one in (
        Asked("clearance", "Clearance", ("in-12", "out-12")),
        Asked(
            "bore",
            "Bore",
            ("in-12", "out-12"),
            "Bore minus journal of one visit counts as its clearance.",
            near=0.02,
        ),
        Asked(
            "journal", "Journal diameter", ("in", "out"), "Measured once it serves both stages.", near=0.02
        ),
        # Over a ball: a flat anvil bridges the curve and reads false (TM 55-1905-221-14-3).
        Asked(
            "wall",
            "Shell wall",
            ("in-6", "out-6"),
            "Over a ball at the marked lines of the loaded half.",
            less="Ball's diameter, to be taken off",
            near=0.2,
        ),
        # The original reading is stamped beside the port and must be used every time (NAVEDTRA 14111, p.
        # 103).
        Asked(
            "shaft_drop",
            "Shaft drop",
            ("in", "out"),
            "Through the port, against the constant stamped beside it.",
            less="Stamped constant, to be taken off",
        ),
        Asked("end_float", "End float", ("any",)),
        Asked("side_gap", "Side gap", ("in-3", "in-9", "out-3", "out-9")),
        Asked(
            "housing_fit",
            "Housing fit",
            ("any",),
            "Crush or play of the shell in its housing; crush as minus.",
        ),
    )
}


def asked(name: str) -> Asked:
    """A quantity by its name; the clearance for a name that is none."""
    return ASKED.get(name, ASKED["clearance"])


def stations_of(known: Known, quantity: str) -> list[Station]:
    """Where a quantity is measured: as last time, else as is usual."""
    seen = [one for one in known.story.measured if one.quantity == quantity]
    if seen:
        last = max(seen, key=lambda one: (one.on, one.order)).visit
        places = {Station(one.end, one.clock): None for one in seen if one.visit == last}
        return sorted(places, key=lambda one: (one.end != "in", one.end, one.clock or 0))
    return [station(key) for key in asked(quantity).stations]


def expected_of(last: Measurement | None, where: Station) -> Expected | None:
    """Roughly the last value at the same station, where the quantity hardly changes; else nothing is
    expected.

    Rough: only a value far away is asked about, and the verdict does not speak of it.
    """
    if last is None or last.value_um is None or (last.end, last.clock) != (where.end, where.clock):
        return None
    near = asked(last.quantity).near
    if not near:
        return None
    part = near * last.value_um * EIGHT_IN_TEN / FAR
    return Expected(last.value_um - part, last.value_um, last.value_um + part, rough=True)


def with_station(quantity: str, where: Station) -> str:
    """ "pump end" of a clearance, "bore, pump end" of another quantity; a blank station is not spoken of."""
    words = "" if where.key == "any" and quantity != "clearance" else where.words
    if quantity == "clearance":
        return words
    name = asked(quantity).words if quantity in ASKED else str(Quantity(quantity).label)
    return ", ".join(part for part in (name.lower(), words) if part)
