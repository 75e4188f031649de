"""What this device remembers: of a visit who measures, unit, method and exceptions; of its people those last
picked.
"""

import datetime as dt
from collections.abc import MutableMapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from uuid import UUID

_PICKED = "picked on this device"
_MOST_PICKED = 6


@dataclass
class DeviceMemory:
    """The facts of one visit that the session of a device keeps; `own` is the account's own person."""

    session: MutableMapping[str, Any]
    visit: UUID | None
    own: Any
    today: dt.date

    @property
    def _name(self) -> str:
        return f"at the pump {self.visit or ''}"

    @cached_property
    def kept(self) -> dict[str, Any]:
        return dict(self.session.get(self._name, {}))

    def remember(self, **facts: Any) -> None:
        """Keep for the next screens of this visit; what is kept already is not written again."""
        assert self.visit is not None
        if facts.items() <= self.kept.items():
            return
        self.kept.update(facts)
        self.session[self._name] = self.kept

    @property
    def on(self) -> dt.date:
        """The day that what is typed now was measured on: today, or the paper sheet's own day."""
        day = self.kept.get("on")
        return dt.date.fromisoformat(day) if day else self.today

    @property
    def measured_by(self) -> UUID:
        """Who measures, as picked on this device; it stays until another name is picked."""
        return UUID(self.kept.get("measured_by") or str(self.own))

    @property
    def recorded_by(self) -> UUID:
        """Who writes down, as picked; the account's own person unless picked. The ledger names the account's
        either way.
        """
        return UUID(self.kept.get("recorded_by") or str(self.own))

    @property
    def checked_by(self) -> UUID | None:
        """Who reads the gauge as a second person; nobody unless picked."""
        person = self.kept.get("checked_by")
        return UUID(person) if person else None

    def setup(self, quantity: str) -> dict[str, str]:
        """Unit, method and gauge that a quantity was last typed with in this visit."""
        return self.kept.get(f"setup {quantity}") or {}

    def pick(self, person: UUID) -> None:
        """Remember a name as picked on this device: it comes first from now on."""
        others = [pk for pk in self.picked if pk != str(person)]
        self.session[_PICKED] = [str(person), *others][:_MOST_PICKED]

    @property
    def picked(self) -> list[str]:
        """The ids of the people last picked on this device, the latest first."""
        return list(self.session.get(_PICKED, []))


def from_a_sheet(place: UUID) -> str:
    """Where the session keeps the visit of a pump that is being typed in from paper."""
    return f"from a sheet {place}"
