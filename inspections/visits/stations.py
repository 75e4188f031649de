"""Where a bearing is measured: stations in words, those a plant has set, those measured last time."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fleet.end_words import END_WORDS
from fleet.models import Setting, Site
from inspections.story.observations import is_vertical
from inspections.story.timeline import Story

USUAL_STATIONS = ("in-12", "out-12")  # the least that shows taper; common practice, no published source


@dataclass(frozen=True)
class Station:
    """Where one measures: an end and a clock position."""

    end: str
    clock: int | None

    @property
    def key(self) -> str:
        return "-".join(str(part) for part in (self.end, self.clock) if part) or "any"

    @property
    def words(self) -> str:
        """ "pump end", "outer end, 3 o'clock"."""
        side = "" if self.clock in (None, 12) else f", {self.clock} o'clock"
        return f"{END_WORDS[self.end]}{side}"


def planned_stations(site: Site, day: dt.date, settings: Any = Setting.objects) -> list[str]:
    """The stations a plant measures at, by its own setting; empty where it has set none."""
    return list(settings.in_force("stations", site, day) or [])


def stations_of(story: Story, named: Sequence[str] = ()) -> list[Station]:
    """Where a bearing is measured: as the plant has set it (`named`), else as last time, else at both ends on
    top.
    """
    if named:
        return [station(key) for key in named]
    seen = [
        m
        for m in story.measured
        if m.quantity == "clearance" and m.end and is_vertical(m.clock, story.load_side)
    ]
    if seen:
        last = max(seen, key=lambda m: (m.on, m.order)).visit
        found = {Station(m.end, m.clock): None for m in seen if m.visit == last}
        if {one.end for one in found} >= {"in", "out"}:
            return sorted(found, key=lambda one: (one.end != "in", one.end, one.clock or 0))
    return [station(key) for key in USUAL_STATIONS]


def station(key: str) -> Station:
    """A station by its key: `in-12`, `out`, `any`.

    >>> station("in-12"), station("any").words
    (Station(end='in', clock=12), 'end not named')
    """
    end, _, clock = key.partition("-")
    if end.isdigit():
        end, clock = "", end
    return Station(end if end in ("in", "out", "mid") else "", int(clock) if clock.isdigit() else None)
