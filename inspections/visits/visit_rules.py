"""How a bearing is judged in a visit: where it is measured, what it is held against, what is expected, what a
reading says.

Lengths are um, diametral. Nothing here knows of a screen.
"""

import math
from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from fleet.measuring_methods import NOT_NAMED
from inspections.models import EFFECTS, WORK, Effect, EventKind, Reading, Stage
from inspections.story.effect_of_work import effect_of
from inspections.story.measuring_conditions import exceptions_um
from inspections.visits import quantities, shell_words
from inspections.visits.expectations import (
    Setup,
    expected_for,
    found_at,
    held_for,
    last_at,
    setup_of,
    work_of,
)
from inspections.visits.machine_book import book_unit
from inspections.visits.stations import Station, planned_stations, stations_of
from inspections.visits.verdict import Expected, Held, Verdict, reading_sd_um, verdict, verdict_of_interval
from inspections.visits.visit_record import VisitRecord


@dataclass
class VisitRules:
    """The rules applied to one bearing's record in one visit."""

    record: VisitRecord
    _last_setups: dict[str, Setup] = field(default_factory=dict)

    @property
    def shell_words(self) -> list[str]:
        """What is said of the shell before its contact is checked."""
        return shell_words.before_check(*shell_words.of_facts(self.record.before.known.facts))

    @property
    def shell_allows(self) -> bool:
        """Whether the shell itself may be scraped."""
        return shell_words.shell_allows(*shell_words.of_facts(self.record.before.known.facts))

    @property
    def worked(self) -> bool:
        """Whether a work of this visit parts as found from as left: metal, shims, journal, rotor."""
        return any(event.kind in WORK for event in self.record.happened)

    @cached_property
    def work(self) -> str:
        """`new`, `scrape` or nothing: what parts as found from as left in this visit."""
        assert self.record.visit is not None
        if not self.record.events:
            return ""
        happened = self.record.happened
        # Only new metal in one half asks which half carries the load.
        halved = any(event.half and EFFECTS.get(event.kind) == Effect.NEW_METAL for event in happened)
        side = self.record.story.load_side if halved else ""
        return work_of(effect_of(event.kind, event.half, side) for event in happened)

    @property
    def n_scrapes(self) -> int:
        """How often it was scraped in this visit."""
        return sum(event.kind == EventKind.SCRAPE for event in self.record.happened)

    @property
    def usual_step(self) -> tuple[float, float]:
        """What this visit's scrapes take together by the usual step of one, and its sd, um."""
        n, (mean, sd) = max(self.n_scrapes, 1), self.record.before.step
        return mean * n, sd * math.sqrt(n)

    # Where ------------------------------------------------------------------------------------------------

    @property
    def stations(self) -> list[Station]:
        """Where the clearance is measured, as the plant has set it, and where it was measured besides."""
        return self._with_extra(self._planned, "clearance")

    @cached_property
    def _planned(self) -> list[Station]:
        record = self.record
        planned = planned_stations(record.bearing.place.site, record.today, record.settings)
        return stations_of(record.before.known.story, planned)

    def usual_stations(self) -> list[Station]:
        """Where the bearing would be measured, by the record as it stands."""
        record = self.record
        planned = planned_stations(record.bearing.place.site, record.memory.on, record.settings)
        return stations_of(record.story, planned)

    def stations_for(self, quantity: str) -> list[Station]:
        """Where a quantity is measured: a clearance as the plant has set it, others as last time or as is
        usual.
        """
        if quantity == "clearance":
            return self.stations
        return self._with_extra(quantities.stations_of(self.record.before.known, quantity), quantity)

    def _with_extra(self, planned: list[Station], quantity: str) -> list[Station]:
        extra = [Station(r.end, r.clock) for r in self.record.readings if r.quantity == quantity]
        return list(dict.fromkeys([*planned, *extra]))

    def open_stations(self, stage: str, quantity: str = "clearance") -> list[Station]:
        """Where a quantity is neither measured at a stage nor said not to be."""
        done = {(row.stage, row.quantity, row.end, row.clock) for row in self.record.readings}
        done |= {(row.stage, row.quantity, row.end, row.clock) for row in self.record.left_out}
        return [
            station
            for station in self.stations_for(quantity)
            if (stage, quantity, station.end, station.clock) not in done
        ]

    def rivals(self) -> list[list[Reading]]:
        """The readings of each station of which more than one counts: which of them does is asked."""
        at: dict[tuple[Any, ...], list[Reading]] = defaultdict(list)
        for row in self.record.readings:
            if row.counts:
                at[row.stage, row.quantity, row.end, row.clock].append(row)
        return [rows for rows in at.values() if len(rows) > 1]

    # Against what -----------------------------------------------------------------------------------------

    def setup_for(self, quantity: str) -> Setup:
        """Unit and method of a quantity: as chosen on this device in this visit, else the unit of the
        machine's book and the method of last time.
        """
        mine = self.record.memory.setup(quantity)
        if {"unit", "method"} <= set(mine):
            return Setup(mine["unit"], mine["method"])
        if quantity not in self._last_setups:
            own = book_unit(self.record.before.known)
            self._last_setups[quantity] = setup_of(self.record.bearing, quantity, own)
        known = self._last_setups[quantity]
        return Setup(mine.get("unit") or known.unit, mine.get("method") or known.method)

    def sd_um(self, method: str, step_um: float | None, conditions: dict[str, Any]) -> float:
        """Standard uncertainty of one reading."""
        spread = self.record.trust.get(method, NOT_NAMED)
        return reading_sd_um(spread.sd_um, step_um, exceptions_um(conditions))

    def sd_of(self, reading: Reading) -> float:
        step = None if reading.step_um is None else float(reading.step_um)
        return self.sd_um(reading.method, step, reading.conditions)

    def held(self, stage: str, quantity: str = "clearance") -> Held:
        """The limits a quantity is held against at a stage."""
        facts = self.record.before.known.facts
        journal = facts.journal_diameter_um if facts else None
        work = self.work if stage == Stage.AS_LEFT else ""
        return held_for(self.record.limits, stage, work, quantity, journal)

    def expected(self, stage: str, where: Station, quantity: str = "clearance") -> Expected | None:
        """What is expected at a station; of another quantity than clearance roughly what it was last time."""
        before = self.record.before
        if quantity != "clearance":
            return quantities.expected_of(last_at(before.known, where, quantity), where)
        as_found = found_at(self.record.readings, where, self.sd_of) if stage == Stage.AS_LEFT else None
        return expected_for(before, self.record.limits, stage, self.work, as_found, max(self.n_scrapes, 1))

    def verdict_on(self, reading: Reading) -> Verdict:
        """What is said of a stored reading."""
        held, sd = self.held(reading.stage, reading.quantity), self.sd_of(reading)
        where, step = Station(reading.end, reading.clock), float(reading.step_um or 0.0)
        expected = self.expected(reading.stage, where, reading.quantity) if reading.repeat == 1 else None
        if reading.value_um is None:
            low, high = (None if end is None else float(end) for end in (reading.low_um, reading.high_um))
            return verdict_of_interval(low, high, sd, reading.unit, held, expected, step)
        return verdict(float(reading.value_um), sd, reading.unit, held, expected, step)
