"""Rows of the history sheet that stand, as facts to record; the meter beside something else is a fact of its
own.
"""

from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from typing import Any
from uuid import UUID

from fleet.importing.parsed_rows import ParsedRow
from fleet.measuring_methods import quantity_measured
from inspections.importing.lines import in_um, station_of, typed_step_um
from inspections.importing.template import HOURS, METER_RESET, PERCENT, READING
from inspections.models import EventKind
from inspections.records.facts import EventFact, Happened, MeterFact, ReadingFact


class RowFacts:
    """Rows that stand to facts to record."""

    def __init__(self, decimal_comma: bool, order: dict[int, int]) -> None:
        self.comma, self.order = decimal_comma, order
        self.seen: dict[tuple[Any, ...], list[ReadingFact]] = defaultdict(list)

    def run(self, rows: Sequence[ParsedRow], placed: dict[int, UUID]) -> list[Happened]:
        """Facts in the rows' order; the meter beside something else is a fact of its own."""
        facts: list[Happened] = []
        for row in rows:
            shared = self._shared(row, placed[row.number])
            event = row.values["event"]
            if event == READING:
                facts.append(self._reading(row, shared))
            elif event not in (HOURS, METER_RESET):
                facts.append(_event(row, event, shared))
            if "run_hours" in row.values:
                facts.append(_meter(row, event, shared))
        self._number_repeats()
        return facts

    def _shared(self, row: ParsedRow, place: UUID) -> dict[str, Any]:
        values, day = row.values, row.values["date"]
        get = values.get
        return {
            "place": place,
            "on": day.first,
            "last_on": day.last,
            "precision": day.precision,
            "order": self.order[row.number],
            "visit": get("visit", ""),
            "why": get("why", ""),
            "outage": get("outage", ""),
            "job": get("job", ""),
            "note": get("note", ""),
            "sheet_row": row.sheet_row,
            "row_id": get("entry_id", ""),
        }

    def _reading(self, row: ParsedRow, shared: dict[str, Any]) -> ReadingFact:
        get, unit, typed = row.values.get, row.values["unit"], row.typed["value"]
        um = in_um(row.values["value"], unit)
        method = get("method", "")
        end, clock = station_of(get("station", "")) or ("", None)
        assert row.bearing is not None  # a reading without its position is at fault
        fact = ReadingFact(
            **shared,
            bearing=row.bearing,
            typed=typed,
            unit=unit,
            value_um=um.value,
            low_um=um.low,
            high_um=um.high,
            step_um=typed_step_um(typed, unit, self.comma and "," in typed),
            quantity=get("quantity") or quantity_measured(method),
            basis=get("basis", "diametral"),
            end=end,
            clock=clock,
            stage=get("stage", ""),
            method=method,
            not_for_wear="_apart" in row.values,
            not_for_wear_because=get("_apart", ""),
            supersedes=get("_corrects"),
            instrument=get("instrument", ""),
            measured_by=get("by"),
            checked_by=get("checked_by"),
        )
        key = (fact.bearing, fact.visit or fact.on, fact.stage, fact.quantity, end, clock, method)
        if "_second" in row.values:
            fact.repeat, fact.counts = 2, False
        else:
            self.seen[key].append(fact)
        return fact

    def _number_repeats(self) -> None:
        """Several readings of one station are repeats and the last counts; without a station they may be the
        two ends.
        """
        for some in self.seen.values():
            if len(some) == 1:
                continue
            units = {fact.unit for fact in some}
            for i, fact in enumerate(some):
                fact.repeat = i + 1
                if len(units) > 1:  # one measurement in two units
                    fact.counts = i == 0
                elif fact.end or fact.clock:
                    fact.counts = i == len(some) - 1


def _event(row: ParsedRow, event: str, shared: dict[str, Any]) -> EventFact:
    get = row.values.get
    contact: Decimal | None = None
    if event == EventKind.CONTACT_CHECK and get("unit") == PERCENT and "value" in row.values:
        contact = row.values["value"].value
    return EventFact(
        **shared,
        kind=event,
        bearing=row.bearing,
        half=get("half", ""),
        shell=get("shell", ""),
        reason=get("reason", ""),
        outcome=get("outcome", ""),
        contact_percent=contact,
        done_by=get("by"),
        checked_by=get("checked_by"),
    )


def _meter(row: ParsedRow, event: str, shared: dict[str, Any]) -> MeterFact:
    proper = event in (HOURS, METER_RESET)
    # The note of another event is that event's own.
    own = shared if proper else shared | {"note": "", "row_id": ""}
    return MeterFact(
        **own,
        hours=row.values["run_hours"],
        reset=event == METER_RESET,
        starts=row.get("starts"),
        hours_before=row.get("run_hours_before") if event == METER_RESET else None,
        beside=not proper,
    )
