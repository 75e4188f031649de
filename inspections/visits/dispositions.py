"""Dispositions and closings: an engineer's signed answer to a word at the pump, and what was closed without
one.

Closing against the word is recorded as such and never prevented; what nobody has signed stands first on the
engineer's page.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import F, Q

from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Person, Site
from fleet.models.recorded import IN_ORDER
from fleet.web.bearing_addresses import bearing_address
from inspections.models import Closing, Disposition, Visit
from inspections.records.openings import NotRecorded
from inspections.story.decided_words import DECIDED_WORDS
from inspections.visits.word_at_pump import CLOSE_UP, REPLACE, SCRAPE, Advice, Standing

SHORT = {words: short for short, words in DECIDED_WORDS.items()}


@dataclass(frozen=True, kw_only=True)
class SignedAnswer:
    """What an engineer signs.

    Attributes
    ----------
    answer : str
        `use_as_is`, `repair` or `replace`.
    checked : str
        what was checked, and how.
    check_by, check_every_days, stop_at
        the interim checks: person, interval, and the value at which it is stopped; or `no_checks_why`.
    expires_on : date
        how long "use as is" holds.
    """

    answer: str
    checked: str
    why: str = ""
    check_by: str = ""
    check_every_days: int | None = None
    stop_at: str = ""
    no_checks_why: str = ""
    expires_on: dt.date | None = None

    def lacks(self, on: dt.date) -> str:
        """What it does not say and must, signed on this day; empty where it is whole."""
        if self.answer not in Disposition.Answer.values:
            return f"Say one of: {', '.join(str(label) for label in Disposition.Answer.labels)}."
        if not self.checked.strip():
            return "Say what was checked and how, such as looked at, dye penetrant, ultrasonic."
        if self.expires_on is not None and self.expires_on <= on:
            return f"A disposition expires after the day it is signed, {on}."
        if self.answer != Disposition.Answer.USE_AS_IS:
            return ""
        if self.expires_on is None:
            return "Use as is holds until a day: say until when."
        checks = self.check_by, self.check_every_days, self.stop_at
        if not all(checks) and not self.no_checks_why.strip():
            return (
                "Say who makes the interim checks, every how many days and at what value it is stopped;"
                " or why none are needed."
            )
        return ""


def dispose(
    *,
    bearing: Bearing,
    visit: Visit,
    on: dt.date,
    advice: Advice,
    answer: SignedAnswer,
    by: UUID,
    id: UUID | None = None,
) -> Disposition:
    """Record an engineer's disposition of what stands above the rule at a bearing.

    `advice` is the word as it stood when it was signed; what is recorded after it is not answered by it.

    Raises
    ------
    NotRecorded
        where nothing is left to answer, or what the disposition says is not whole.
    """
    known = Disposition._base_manager.filter(pk=id).first() if id else None
    if known:
        return known
    if not advice.keys:
        raise NotRecorded("Nothing stands here that asks for a disposition.")
    if lacking := answer.lacks(on):
        raise NotRecorded(lacking)
    row = Disposition(
        id=id or uuid.uuid4(),
        bearing_id=bearing.pk,
        visit_id=visit.pk,
        on=on,
        word=SHORT[advice.word],
        answers=advice.keys,
        answer=answer.answer,
        checked=answer.checked.strip()[:300],
        why=answer.why.strip()[:500],
        check_by=answer.check_by.strip()[:120],
        check_every_days=answer.check_every_days,
        stop_at=answer.stop_at.strip()[:120],
        no_checks_why=answer.no_checks_why.strip()[:300],
        expires_on=answer.expires_on,
    )
    write([Fact(f"bearing:{bearing.pk}", "disposition", row)], by=by)
    return Disposition.objects.get(pk=row.pk)


def closing_row(
    *,
    bearing: Bearing,
    visit: Visit,
    on: dt.date,
    advice: Advice,
    decided: str,
    why: str,
    items: Mapping[str, Any],
) -> Closing:
    """A bearing's closing, not yet stored: `without_disposition` where it is against the word and nobody has
    signed it.

    A disposition that answers what stood has already changed the word; so what is against the word has none.
    """
    return Closing(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        visit_id=visit.pk,
        on=on,
        word=SHORT[advice.word],
        decided=SHORT[decided],
        why_word=advice.why[:500],
        why=why.strip()[:500],
        without_disposition=against(advice.word, decided),
        answers=advice.keys,
        items=dict(items),
    )


def against(word: str, decided: str) -> bool:
    """Whether a decision goes on with the bearing against the word; to hold, ask or measure is never against
    it.

    >>> against("hold", "close up"), against("hold", "hold"), against("close up", "replace"), against(
    ...     "close up", "scrape"
    ... )
    (True, False, False, True)
    """
    goes_on = decided in (CLOSE_UP, SCRAPE, REPLACE) and decided != word
    return goes_on and (word, decided) != (CLOSE_UP, REPLACE)


def word_of(row: Closing) -> Advice:
    """The word as it stood at a closing, to be answered afterwards."""
    word = DECIDED_WORDS.get(row.word, row.word)
    return Advice(word, row.why_word, None, tuple(Standing(key, word, row.why_word) for key in row.answers))


@dataclass(frozen=True)
class Unsigned:
    """A closing that nobody has signed: closed against the word, or left at a word that asks for somebody."""

    bearing: Bearing
    row: Closing
    who: str

    @property
    def word(self) -> str:
        return DECIDED_WORDS.get(self.row.word, self.row.word)

    @property
    def decided(self) -> str:
        return DECIDED_WORDS.get(self.row.decided, self.row.decided)

    @property
    def address(self) -> str:
        return f"{bearing_address(self.bearing, 'disposition')}&visit={self.row.visit_id}"


def unsigned(sites: Iterable[Site]) -> list[Unsigned]:
    """What was closed against the word or left held and is not signed since: against the word first, then the
    oldest.
    """
    rows = Closing.objects.standing().filter(bearing__place__site__in=list(sites))
    as_said = Q(word=F("decided"), word__in=[SHORT[CLOSE_UP], SHORT[REPLACE], SHORT[SCRAPE]])
    rows = rows.filter(Q(without_disposition=True) | ~as_said & ~Q(word=SHORT[CLOSE_UP]))
    # Closings and dispositions of a bearing stand on its one chain: the order of its entries says what came
    # after what.
    signed: dict[tuple[UUID, UUID], int] = {}
    given = Disposition.objects.standing().filter(visit__in=rows.values("visit")).order_by(*IN_ORDER)
    for row in given:
        signed[row.visit_id, row.bearing_id] = row.entry_n
    open_rows = [
        row
        for row in reversed(rows.select_related("bearing__place__site").last_recorded_first())
        if signed.get((row.visit_id, row.bearing_id), row.entry_n) <= row.entry_n
    ]
    names = dict(
        Person.objects.filter(pk__in={row.recorded_by for row in open_rows}).values_list("pk", "name")
    )
    open_rows.sort(key=lambda row: not row.without_disposition)
    return [Unsigned(row.bearing, row, names.get(row.recorded_by) or "name removed") for row in open_rows]


def in_force(sites: Iterable[Site], today: dt.date) -> list[Disposition]:
    """Dispositions "use as is" with their interim checks, what expires first at the top; the last of each
    bearing.
    """
    rows = Disposition.objects.standing().filter(bearing__place__site__in=list(sites))
    last = {row.bearing_id: row for row in rows.select_related("bearing__place__site").order_by(*IN_ORDER)}
    found = [row for row in last.values() if row.answer == Disposition.Answer.USE_AS_IS]
    for row in found:
        vars(row).update(
            expired=row.expires_on is not None and row.expires_on < today,
            address=bearing_address(row.bearing),
        )
    return sorted(found, key=lambda row: row.expires_on or dt.date.max)


def facts_of(rows: Sequence[Closing]) -> list[Fact]:
    """The closings as facts, to be written with the visit's own."""
    return [Fact(f"bearing:{row.bearing_id}", "closing", row) for row in rows]
