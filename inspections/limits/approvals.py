"""What waits for a second person, and the act that confirms a new shell.

A limit that waits holds nothing; a new shell that waits is a fact that happened, so it is in the record and
dates count with it. Only limits can be refused: a shell change that did not happen is withdrawn on the
history page, with a reason.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from fleet.access import may
from fleet.formatting import day
from fleet.models import Account, Bearing, Confirmation, Person, ProposedLimit, Sheet
from fleet.models.recorded import RecordedQuerySet
from fleet.plant.acts import record
from fleet.plant.second_person import must_be_second, must_wait
from fleet.web.bearing_addresses import bearing_address
from inspections.models import Event
from inspections.story.effect_of_work import words_of
from inspections.story.entry_words import limit_words

ACT_OF = {"limit": "set limits", "shell": "confirm shells"}


@dataclass(frozen=True)
class Waiting:
    """One thing that waits: what, at which bearing, put forward by whom and when, and whether this account
    may answer.
    """

    of: str
    id: UUID
    act: UUID
    bearing: Bearing
    words: str
    by: str
    recorded_at: dt.datetime
    reason: str
    source: str
    may_answer: bool
    use: str = ""

    @property
    def address(self) -> str:
        return bearing_address(self.bearing)


def shells_waiting() -> RecordedQuerySet:
    """New shells and new metal that nobody has confirmed."""
    answered = Confirmation.objects.standing().values("thing")
    return Event.objects.standing().filter(awaits_second=True).exclude(pk__in=answered)


def waiting(
    bearings: Iterable[Bearing] | QuerySet[Bearing], account: Account, **asked: UUID
) -> list[Waiting]:
    """What waits at these bearings, the oldest first; `asked` may name one `pk`, or the `act` they were put
    forward in.
    """
    found: list[ProposedLimit | Event] = []
    among = bearings if isinstance(bearings, QuerySet) else list(bearings)
    for rows in (ProposedLimit.objects.waiting(), shells_waiting()):
        here = rows.filter(bearing__in=among, **asked).select_related("bearing__place__site")
        found += here.last_recorded_first()
    found.sort(key=lambda row: row._written)  # type: ignore[union-attr]
    people = _named(row.recorded_by for row in found)
    sheets = {one.act: one.name for one in Sheet.objects.filter(act__in={row.act for row in found})}
    return [_told(row, people, sheets, account) for row in found]


def together(waits: Sequence[Waiting]) -> list[tuple[UUID, str, int]]:
    """Acts of which this account may confirm several limits at once: the act, which they are, how many."""
    acts: dict[UUID, list[Waiting]] = {}
    for one in waits:
        if one.of == "limit" and one.may_answer:
            acts.setdefault(one.act, []).append(one)
    return [
        (
            act,
            f"of {some[0].source}" if some[0].source else f"that {some[0].by} put forward in one act",
            len(some),
        )
        for act, some in acts.items()
        if len(some) > 1
    ]


def _named(ids: Iterable[UUID]) -> dict[UUID, str]:
    return {one.pk: str(one) for one in Person.objects.filter(pk__in=set(ids))}


def _told(
    row: ProposedLimit | Event, people: dict[UUID, str], sheets: dict[UUID, str], account: Account
) -> Waiting:
    of = "limit" if isinstance(row, ProposedLimit) else "shell"
    assert row.bearing is not None
    if isinstance(row, ProposedLimit):
        words, reason, use = limit_words(row), row.reason, row.use
    else:
        words, reason, use = (
            f"{words_of(row.kind, half=row.half, shell=row.shell)}, {day(row.on, row.precision)}",
            row.note,
            "",
        )
    return Waiting(
        of,
        row.pk,
        row.act,
        row.bearing,
        words,
        people.get(row.recorded_by, "someone not known"),
        row.recorded_at,
        reason,
        sheets.get(row.act, ""),
        account.person_id != row.recorded_by and may(account, ACT_OF[of], row.bearing.place.site),
        use,
    )


def confirm_shells(events: Sequence[Event], *, by: UUID) -> None:
    """A second person confirms new shells, each by an entry of its own that names the first.

    Raises
    ------
    Refused
        for who recorded it, for whoever is neither foreman nor engineer there, and for what waits no more.
    """
    with transaction.atomic():
        held = Event.objects.select_for_update(of=("self",)).select_related("bearing__place__site")
        rows = list(held.filter(pk__in=[one.pk for one in events], awaits_second=True))
        for row in rows:
            assert row.bearing is not None
            must_be_second(by, author=row.recorded_by, site=row.bearing.place.site, act=ACT_OF["shell"])
        must_wait(rows)
        record(
            [Confirmation(bearing=row.bearing, of="shell", thing=row.pk, agreed=True) for row in rows], by=by
        )
