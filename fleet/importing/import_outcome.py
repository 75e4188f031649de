"""What stands once a sheet is stored, told by whoever knows its kind: what came in, what it means, what to do
next.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from fleet.models import Account, Sheet
from fleet.registry import ByName


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
# How a sheet is told once it is stored, by what it holds; an app adds its own in `AppConfig.ready()`.
TELLS = ByName[Tell]("telling of a sheet")


def outcome_of(sheet: Sheet, account: Account, today: dt.date) -> Outcome:
    """What a stored sheet means for an account, and what to do next; stores nothing."""
    tell = TELLS.get(sheet.holds)
    return tell(sheet, account, today) if tell else Outcome()
