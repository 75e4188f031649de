"""What stands put off or to be opened outside an outage: waiting for whom, agreed by whom, in force, run out,
done.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db.models import Exists, OuterRef, Q
from django.db.models.functions import Lower

from fleet.access import may, sites_of
from fleet.formatting import counted, day
from fleet.models import Account, Bearing, Person, Site
from fleet.models.recorded import IN_ORDER
from inspections.deferrals.checks import last_checks
from inspections.deferrals.levels import OPERATIONS, SIDES
from inspections.models import Agreement, Closing, Decision, Deferral, Event, EventKind, OutsideOpening

WAITING, IN_FORCE, REFUSED, LAPSED, RUN_OUT, DONE = (
    "waiting",
    "in force",
    "refused",
    "not agreed in time",
    "run out",
    "done",
)
RIGHT = {Agreement.Side.ENGINEER: "agree as engineer", Agreement.Side.OPERATIONS: "agree for operations"}
SIDE_WORDS = {str(side): str(side.label) for side in Agreement.Side}
NAMELESS = "a person whose name was removed"


@dataclass(frozen=True)
class Answer:
    """One side's answer: who, when, and why it was refused."""

    side: str
    agreed: bool
    who: str
    by: UUID
    on: dt.date
    reason: str = ""

    @property
    def words(self) -> str:
        did = "agreed" if self.agreed else "refused"
        why = f": “{self.reason}”" if self.reason else ""
        return f"{self.who} ({self.side}) {did} on {day(self.on)}{why}"


@dataclass(frozen=True)
class PutOff:
    """One deferral or outside opening with its answers, as of a day; `row` None: an old deferral, by one
    person alone.
    """

    bearing: Bearing
    id: UUID
    row: Deferral | OutsideOpening | None
    on: dt.date
    until_on: dt.date
    reason: str
    asked_by: str
    asker: UUID
    needs: tuple[str, ...]
    answers: tuple[Answer, ...]
    state: str
    outage: str = ""
    outage_id: UUID | None = None
    checks: str = ""
    level: str = ""
    n_times: int = 1
    first_on: dt.date | None = None
    check_by: str = ""
    every_days: int | None = None
    checked_on: dt.date | None = None
    overdue_since: dt.date | None = None  # the day its interim check was due, where none was recorded since

    @property
    def is_opening(self) -> bool:
        return isinstance(self.row, OutsideOpening)

    @property
    def missing(self) -> tuple[str, ...]:
        """Whose agreement is still missing."""
        given = {one.side for one in self.answers}
        return tuple(side for side in self.needs if side not in given)

    @property
    def missing_words(self) -> str:
        return " and ".join(SIDE_WORDS[side] for side in self.missing)

    @property
    def checks_words(self) -> str:
        """The last interim check, and whether the next is overdue; empty where none is asked for."""
        if self.every_days is None:
            return ""
        last = f"last on {day(self.checked_on)}" if self.checked_on else "none recorded yet"
        return f"{last}; overdue since {day(self.overdue_since)}" if self.overdue_since else last

    @property
    def overdue_words(self) -> str:
        """What interim check is overdue: since when, by whom, how often, at what value it is stopped."""
        return f"due on {day(self.overdue_since)} ({self.checks})"

    @property
    def is_expired(self) -> bool:
        """Whether it has run out without the work being done: it is planned again by itself."""
        return self.state == RUN_OUT

    def side_for(self, account: Account) -> str:
        """The side on which an account may answer it now; empty where it may not."""
        if self.state != WAITING or account.person_id in {self.asker, *(one.by for one in self.answers)}:
            return ""
        site = self.bearing.place.site
        return next((side for side in self.missing if may(account, RIGHT[Agreement.Side(side)], site)), "")


def put_off(bearings: Iterable[Bearing], today: dt.date) -> list[PutOff]:
    """Every deferral of these bearings that their work has not answered since, old ones too: the latest of
    each last.
    """
    among = list(bearings)
    rows = list(
        Deferral.objects.standing()
        .filter(bearing__in=among)
        .select_related("bearing__place__site", "outage")
        .order_by("on", *IN_ORDER)
    )
    old = list(
        Decision.objects.standing()
        .filter(bearing__in=among, decided="defer")
        .select_related("bearing__place__site", "outage")
        .order_by("on", *IN_ORDER)
    )
    if not rows and not old:
        return []
    answers, names = _answers([row.pk for row in rows]), _names([*rows, *old])
    done = done_on({row.bearing_id for row in [*rows, *old]})
    checked = last_checks({row.bearing_id for row in rows}) if rows else {}
    made = [_old(row, names) for row in old]
    made += [
        _deferral(row, answers.get(row.pk, ()), names, _since(checked.get(row.bearing_id), row))
        for row in rows
    ]
    return [_as_of(one, done.get(one.bearing.pk), today) for one in sorted(made, key=lambda one: one.on)]


def openings(bearings: Iterable[Bearing], today: dt.date) -> list[PutOff]:
    """Openings outside an outage asked for at these bearings, the soonest first."""
    rows = list(
        OutsideOpening.objects.standing()
        .filter(bearing__in=list(bearings))
        .select_related("bearing__place__site")
        .order_by("opens_on", *IN_ORDER)
    )
    if not rows:
        return []
    answers, names = _answers([row.pk for row in rows]), _names(rows)
    done = done_on({row.bearing_id for row in rows})
    made = [_opening(row, answers.get(row.pk, ()), names) for row in rows]
    return [_as_of(one, done.get(one.bearing.pk), today) for one in made]


def latest(found: Sequence[PutOff]) -> list[PutOff]:
    """Of each bearing its last deferral that holds or has run out, with how often it was put off: the most
    often first.
    """
    by_bearing: dict[UUID, list[PutOff]] = {}
    for one in found:
        if one.state in (IN_FORCE, RUN_OUT):
            by_bearing.setdefault(one.bearing.pk, []).append(one)
    made = [_counted(own) for own in by_bearing.values()]
    return sorted(made, key=lambda one: (-one.n_times, one.until_on))


def _counted(own: Sequence[PutOff]) -> PutOff:
    last = own[-1]
    return replace(last, n_times=len(own), first_on=own[0].on)


def decided_words(bearings: Iterable[Bearing], today: dt.date) -> dict[UUID, str]:
    """By bearing, what stands decided or is asked: runs on until when, checked by whom; to be opened when;
    waits for whom.
    """
    among = list(bearings)
    found: dict[UUID, str] = {}
    for one in (*put_off(among, today), *openings(among, today)) if among else ():
        if one.state not in (IN_FORCE, WAITING, RUN_OUT) or (one.is_opening and one.state == RUN_OUT):
            continue
        what = "to be opened on" if one.is_opening else "put off until" if one.outage else "runs on until"
        checks = "" if one.is_opening else f"; checks: {one.checks}"
        checks += f", overdue since {day(one.overdue_since)}" if one.overdue_since else ""
        asked = f"; waits for {one.missing_words}" if one.state == WAITING else ""
        over = ", which has run out" if one.state == RUN_OUT else ""
        found[one.bearing.pk] = f"{what} {day(one.until_on)}{over}{asked}{checks}"
    return found


def times_before(bearing: Bearing, today: dt.date) -> int:
    """How often a bearing's work was put off since it was last done: what held, whether or not it has run
    out.
    """
    return sum(one.state in (IN_FORCE, RUN_OUT) for one in put_off([bearing], today))


def told_to(account: Account, today: dt.date) -> tuple[list[PutOff], list[PutOff]]:
    """What an account is told on its next page, in two questions where there is nothing.

    Returns
    -------
    waiting : list
        what waits for this account's own agreement, the oldest first.
    overdue : list
        what is put off with an interim check that is overdue and that this account's person makes or asked
        for, the longest first.
    """
    concerned = _sites_concerned(account)
    named = Person.objects.annotate(lower=Lower("name")).filter(
        pk=account.person_id, lower=Lower(OuterRef("check_by"))
    )
    own = Q(recorded_by=account.person_id) | Exists(named)
    rows = Deferral.objects.standing().filter(concerned | own, until_on__gte=today).annotate(own=own)
    is_own: dict[UUID, bool] = {}
    for bearing, mine in rows.values_list("bearing", "own"):
        is_own[bearing] = mine or is_own.get(bearing, False)
    outside = OutsideOpening.objects.standing().filter(concerned, opens_on__gte=today)
    ids = set(outside.values_list("bearing", flat=True))
    found = put_off(Bearing.objects.filter(pk__in=is_own), today) if is_own else []
    opened = openings(Bearing.objects.filter(pk__in=ids), today) if ids else []
    overdue = [one for one in found if one.overdue_since and is_own.get(one.bearing.pk)]
    return (
        [one for one in (*found, *opened) if one.side_for(account)],
        sorted(overdue, key=lambda one: one.overdue_since or dt.date.max),
    )


def _sites_concerned(account: Account) -> Q:
    """Rows at the sites where an account may agree to something."""
    concerned = Q(pk__in=[])
    for right in RIGHT.values():
        sites = sites_of(account, right)
        if sites is None:
            return ~Q(pk=None)
        if sites:
            concerned |= Q(bearing__place__site__in=sites)
    return concerned


def at_sites(sites: Iterable[Site], today: dt.date) -> tuple[list[PutOff], list[PutOff]]:
    """Deferrals and outside openings of sites."""
    places = Q(bearing__place__site__in=list(sites))
    of = [
        set(model.objects.filter(places).values_list("bearing", flat=True))
        for model in (Deferral, OutsideOpening)
    ]
    old = Decision.objects.filter(places, decided="defer").values_list("bearing", flat=True)
    return put_off(Bearing.objects.filter(pk__in=of[0] | set(old)), today), openings(
        Bearing.objects.filter(pk__in=of[1]), today
    )


def _deferral(
    row: Deferral, answers: Sequence[Agreement], names: dict[UUID, str], checked_on: dt.date | None
) -> PutOff:
    return PutOff(
        row.bearing,
        row.pk,
        row,
        row.on,
        row.until_on,
        row.reason,
        names.get(row.recorded_by, NAMELESS),
        row.recorded_by,
        SIDES[row.level],
        _answered(answers, names),
        "",
        row.outage.name if row.outage else "",
        row.outage_id,
        f"{row.check_by} every {counted(row.check_every_days, 'day')}, stop at {row.stop_at}",
        row.level,
        check_by=row.check_by,
        every_days=row.check_every_days,
        checked_on=checked_on,
    )


def _since(checked: dt.date | None, row: Deferral) -> dt.date | None:
    """The last interim check, where it was made since the deferral was asked for."""
    return checked if checked is not None and checked >= row.on else None


def _opening(row: OutsideOpening, answers: Sequence[Agreement], names: dict[UUID, str]) -> PutOff:
    return PutOff(
        row.bearing,
        row.pk,
        row,
        row.on,
        row.opens_on,
        row.reason,
        names.get(row.recorded_by, NAMELESS),
        row.recorded_by,
        SIDES[OPERATIONS],
        _answered(answers, names),
        "",
    )


def _old(row: Decision, names: dict[UUID, str]) -> PutOff:
    """A deferral of before agreements: by one person alone; it stands to its end."""
    return PutOff(
        row.bearing,
        row.pk,
        None,
        row.on,
        row.until_on or dt.date.max,
        row.why,
        names.get(row.recorded_by, NAMELESS),
        row.recorded_by,
        (),
        (),
        "",
        row.outage.name if row.outage else "",
        row.outage_id,
        f"{row.extra_checks}; the {row.owner_role} answers for it",
    )


def _as_of(one: PutOff, done: dt.date | None, today: dt.date) -> PutOff:
    refused = any(not answer.agreed for answer in one.answers)
    if done is not None and done >= one.on:
        state = DONE
    elif refused:
        state = REFUSED
    elif one.until_on < today:
        state = LAPSED if one.missing else RUN_OUT
    else:
        state = WAITING if one.missing else IN_FORCE
    return replace(one, state=state, overdue_since=_overdue(one, state, today))


def _overdue(one: PutOff, state: str, today: dt.date) -> dt.date | None:
    """The day on which its interim check was due, where that has gone by."""
    if state != IN_FORCE or one.every_days is None:
        return None
    due = (one.checked_on or one.on) + dt.timedelta(days=one.every_days)
    return due if due < today else None


def _answered(rows: Sequence[Agreement], names: dict[UUID, str]) -> tuple[Answer, ...]:
    return tuple(
        Answer(
            row.side,
            row.agreed,
            names.get(row.recorded_by, NAMELESS),
            row.recorded_by,
            row.on,
            row.reason,
        )
        for row in rows
    )


def _answers(ids: Sequence[UUID]) -> dict[UUID, list[Agreement]]:
    found: dict[UUID, list[Agreement]] = {}
    for row in Agreement.objects.standing().filter(thing__in=ids).order_by(*IN_ORDER):
        found.setdefault(row.thing, []).append(row)
    return found


def _names(rows: Iterable[Deferral | OutsideOpening | Decision]) -> dict[UUID, str]:
    asked = list(rows)
    ids = {row.recorded_by for row in asked}
    answered = Agreement.objects.standing().filter(thing__in=[row.pk for row in asked])
    people = Person.objects.filter(Q(pk__in=ids) | Q(pk__in=answered.values("recorded_by")))
    return {person.pk: person.name or NAMELESS for person in people}


def done_on(bearings: Iterable[UUID]) -> dict[UUID, dt.date]:
    """By bearing the day on which its work was last done: new metal, a scrape, or closed after looking."""
    ids = list(bearings)
    work = Event.objects.standing().filter(
        bearing__in=ids, kind__in=(EventKind.SHELL_CHANGE, EventKind.REBABBITT, EventKind.SCRAPE)
    )
    closed = Closing.objects.standing().filter(bearing__in=ids)
    days: dict[UUID, dt.date] = {}
    for rows in (work, closed):
        for bearing, on in rows.values_list("bearing_id", "on"):
            days[bearing] = max(on, days.get(bearing, on))
    return days
