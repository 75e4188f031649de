"""What stands once a sheet is stored, told by whoever knows its kind: what came in, what it means, what to do
next.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from fleet.models import Account, Sheet


@dataclass(frozen=True)
class Said:
    """One sentence about one thing, with its name and its page."""

    name: str
    address: str
    words: str


@dataclass(frozen=True)
class Step:
    """The one thing to do next: why, in a sentence; the words on its button, and where it leads."""

    words: str
    label: str
    address: str


@dataclass(frozen=True)
class Outcome:
    """`came`: what the sheet brought, in words; `saying`: what it means as a whole; `first`: what comes first
    of it.
    """

    came: tuple[str, ...] = ()
    saying: str = ""
    first: tuple[Said, ...] = ()
    step: Step | None = None


Tell = Callable[[Sheet, Account, dt.date], Outcome]
_TELLS: dict[str, Tell] = {}


def register_outcome(holds: str, tell: Tell) -> None:
    """Say how a kind of sheet is told once it is stored; an app does so in its `AppConfig.ready()`."""
    _TELLS[holds] = tell


def outcome_of(sheet: Sheet, account: Account, today: dt.date) -> Outcome:
    """What a stored sheet means for an account, and what to do next; stores nothing."""
    tell = _TELLS.get(sheet.holds)
    return tell(sheet, account, today) if tell else Outcome()
