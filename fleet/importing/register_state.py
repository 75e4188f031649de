"""What the record knows of the places a register speaks of, read in a few questions."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fleet.models import (
    BearingFacts,
    Installation,
    Journal,
    JournalDiameter,
    Limit,
    PlaceFacts,
    ProposedLimit,
    Rotor,
    RotorFitting,
    ShellFitting,
    ShellHalf,
    WearClass,
    folded,
)
from fleet.plant.register import version_order


@dataclass
class State:
    """The governing rows by what they belong to."""

    place_facts: dict[UUID, PlaceFacts] = field(default_factory=dict)
    bearing_facts: dict[UUID, BearingFacts] = field(default_factory=dict)
    limits: dict[tuple[UUID, str], list[Limit]] = field(default_factory=lambda: defaultdict(list))
    proposed: dict[tuple[UUID | None, str], list[ProposedLimit]] = field(
        default_factory=lambda: defaultdict(list)
    )
    fittings: dict[UUID, list[ShellFitting]] = field(default_factory=lambda: defaultdict(list))
    shells: dict[tuple[UUID, str, str], ShellHalf] = field(default_factory=dict)
    rotors: dict[UUID, Rotor] = field(default_factory=dict)
    journals: dict[tuple[UUID, str], Journal] = field(default_factory=dict)
    diameters: dict[UUID, JournalDiameter] = field(default_factory=dict)
    classes: dict[str, WearClass] = field(default_factory=dict)

    @classmethod
    def load(cls, sites: Iterable[UUID]) -> "State":
        """Read what stands at these sites."""
        self = cls()
        self.classes = {one.folded: one for one in WearClass.objects.standing()}
        at = list(sites)
        if not at:
            return self
        self.place_facts = _latest(PlaceFacts.objects.standing().filter(place__site__in=at), "place_id")
        self.bearing_facts = _latest(
            BearingFacts.objects.standing().filter(bearing__place__site__in=at), "bearing_id"
        )
        for limit in Limit.objects.standing().filter(bearing__place__site__in=at):
            assert limit.bearing_id is not None
            self.limits[limit.bearing_id, limit.use].append(limit)
        for waiting in ProposedLimit.objects.waiting().filter(bearing__place__site__in=at):
            self.proposed[waiting.bearing_id, waiting.use].append(waiting)
        fittings = ShellFitting.objects.standing().filter(bearing__place__site__in=at).select_related("shell")
        for fitting in sorted(fittings, key=version_order):
            self.fittings[fitting.bearing_id].append(fitting)
        for shell in ShellHalf.objects.standing().filter(site__in=at):
            self.shells[shell.site_id, shell.serial, shell.half] = shell
        self._load_rotors(at)
        return self

    def _load_rotors(self, at: list[UUID]) -> None:
        """Which rotor runs on each place, and its journals."""
        installed = _latest(Installation.objects.standing().filter(place__site__in=at), "place_id")
        holds = _latest(
            RotorFitting.objects.standing().filter(machine__site__in=at).select_related("rotor"), "machine_id"
        )
        for place_id, installation in installed.items():
            if installation.machine_id in holds:
                self.rotors[place_id] = holds[installation.machine_id].rotor
        for journal in Journal.objects.standing().filter(rotor__site__in=at):
            self.journals[journal.rotor_id, folded(journal.name)] = journal
        self.diameters = _latest(
            JournalDiameter.objects.standing().filter(journal__rotor__site__in=at), "journal_id"
        )


def _latest(rows: Iterable[Any], owner: str) -> dict[UUID, Any]:
    """The row that governs last, by what it belongs to."""
    found: dict[UUID, Any] = {}
    for row in sorted(rows, key=version_order):
        found[getattr(row, owner)] = row
    return found
