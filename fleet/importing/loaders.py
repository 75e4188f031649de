"""What a kind of sheet is and does: its loader, what it may ask about the import, and how
loaders are found.
"""

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from fleet.importing.answers import SET_ASIDE, Answers, Choice, ChosenAnswer
from fleet.importing.columns import Column
from fleet.importing.directory import Directory
from fleet.importing.findings import Finding
from fleet.importing.options import Options
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.models import Sheet, Site
from fleet.registry import ByName

Progress = Callable[[str], None]


def counted_words(n: int, what: str) -> str:
    """A count with its noun; nothing for none."""
    return f"{n} {what}{'' if n == 1 else 's'}" if n else ""


@dataclass(frozen=True)
class Counts:
    """Rows of a sheet: seen = stored + set aside + already there + blank."""

    seen: int = 0
    stored: int = 0
    set_aside: int = 0
    already: int = 0
    blank: int = 0

    def words(self) -> str:
        """The counts as they are said."""
        return (
            f"{counted_words(self.seen, 'row') or '0 rows'} seen = {self.stored} stored + {self.set_aside}"
            f" set aside + {self.already} already there + {self.blank} blank"
        )


@dataclass
class Context:
    """What a loader may ask about the import it works for.

    `memory` is the loader's own, from `resolve` to `store`. `sites` are those at which the person may import
    (None: at all, also new ones); rows of others are refused whatever the loader does. Inside `store`,
    `sheet` is the row that will stand for this import; its id may be pointed to at once. `after`: what to say
    once it is stored. `shown`: the digest of what a page showed before it is stored; None where none stands
    before.
    """

    options: Options
    by: uuid.UUID
    today: dt.date
    directory: Directory
    site: Site | None = None
    sites: frozenset[uuid.UUID] | None = None
    sheet: Sheet | None = None
    memory: dict[str, Any] = field(default_factory=dict)
    after: list[str] = field(default_factory=list)
    progress: Progress = lambda words: None
    answers: Answers = field(default_factory=Answers)
    shown: str | None = None


class Loader:
    """What one kind of sheet holds and how it is stored. Add an instance to `LOADERS`.

    Attributes
    ----------
    holds : str
        a value of `Sheet.Holds`.
    columns : sequence of Column
        the template, in its order.
    known_by_rows : bool
        a row that came before adds nothing (a history). False where rows describe things and are compared
        with the record instead (a register): the loader then counts what was already there itself.
    takes_plans : bool
        a layout of the plant's own is read by a plan.
    spreading : frozenset of str
        kinds of question whose answer, given for all rows, also settles those that it brings to light.
    for_further : frozenset of str
        kinds of question whose answer, given for all rows, holds for further ones too; what a cell should say
        does not.
    names_asked : frozenset of str
        kinds of question about a name: one that comes again after its answer is open still.
    of_sites, makes_sites : bool
        every row belongs to a site; a row may name a new one.
    """

    holds: str = ""
    columns: Sequence[Column] = ()
    known_by_rows: bool = False
    of_sites: bool = True
    makes_sites: bool = False
    takes_plans: bool = False
    spreading: frozenset[str] = frozenset()
    for_further: frozenset[str] = frozenset()
    names_asked: frozenset[str] = frozenset()

    def resolve(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        """Set `row.site` and `row.bearing`, put inner ids in `row.content`; no question to the database per
        row.
        """
        return ()

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        """Faults and questions of the whole file. Rows at fault are among `parsed.rows`,
        with values missing.
        """
        return ()

    def prepare(self, rows: Sequence[ParsedRow], context: Context) -> None:
        """Work that needs no lock, done before the transaction; results go into `context.memory`."""

    def ident(self, code: str, row: ParsedRow) -> str:
        """By what an answer to a question of this kind knows a row again."""
        return row.ident

    def wide_ident(self, code: str, row: ParsedRow) -> str:
        """By what an answer to a question of this kind knows all rows that say the same."""
        return self.ident(code, row)

    def choices(self, code: str, about: str, rows: Sequence[ParsedRow], context: Context) -> Sequence[Choice]:
        """The answers that a question of this kind may have."""
        return (SET_ASIDE,)

    def answer(
        self, given: ChosenAnswer, rows: Sequence[ParsedRow], parsed: Parsed, context: Context
    ) -> bool:
        """Do what an answer says to rows; True where they must be checked again. `row.content` stays as
        typed.
        """
        return False

    def store(self, rows: Sequence[ParsedRow], context: Context, act: uuid.UUID) -> tuple[int, int]:
        """Write the rows with `write(..., by=context.by, act=act)`; returns how many were stored, how many
        already there.

        Called inside the one transaction; anything raised here leaves nothing behind.
        """
        raise NotImplementedError


# By what a sheet holds; an app adds its own in `AppConfig.ready()`.
LOADERS = ByName[Loader]("kind of sheet")


def loaders() -> dict[str, Loader]:
    """Every kind of sheet with its loader, in the order in which a plant needs them."""
    return {word: LOADERS[word] for word in Sheet.Holds.values if word in LOADERS}
