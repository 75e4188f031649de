"""Two bearing positions that are one: everything of the one is moved to the other in one act, and its name
leads on.

A moved row is a withdrawal there and a new entry here, each naming the other. What the other has recorded
already (the same reading in two sheets) is joined with it instead of moved. Both chains stay.
"""

import datetime as dt
import json
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from fleet.ledger import kinds
from fleet.ledger.writing import Fact, write
from fleet.models import (
    Bearing,
    BearingFacts,
    Confirmation,
    Entry,
    Installation,
    Limit,
    Name,
    Place,
    ProposedLimit,
    Recorded,
    Setting,
    ShellFitting,
    folded,
)
from fleet.plant.acts import KINDS, fact_of
from fleet.plant.choices import MACHINE_BOOK
from inspections.models import (
    Agreement,
    Attendance,
    Closing,
    ContactCheck,
    Decision,
    Deferral,
    Disposition,
    Event,
    Finding,
    MeterEntry,
    NotMeasured,
    OutsideOpening,
    Reading,
    Visit,
)
from inspections.records.openings import NotRecorded

# By what two rows of a sort are known to record one thing.
ALIKE: dict[type[Recorded], tuple[str, ...]] = {
    Reading: ("on", "quantity", "stage", "method", "end", "clock", "repeat", "value_um", "low_um", "high_um"),
    Event: ("on", "kind", "half"),
    MeterEntry: ("on", "hours", "reset"),
    # Of what is known of a position the one that stays keeps its own; only what it lacks is moved.
    Limit: ("quantity", "use"),
    BearingFacts: (),
    ShellFitting: ("half", "from_on"),
}
KIND: dict[type[Recorded], str] = {
    Visit: "visit",
    Attendance: "attendance",
    Reading: "reading",
    NotMeasured: "not_measured",
    Event: "event",
    Finding: "finding",
    MeterEntry: "meter",
    ContactCheck: "contact_check",
    Decision: "decision",
    Disposition: "disposition",
    Closing: "closing",
    Deferral: "deferral",
    OutsideOpening: "outside_opening",
    Agreement: "agreement",
    Limit: "limit",
    BearingFacts: "bearing_facts",
    ShellFitting: "shell_fitting",
}
OF_PUMP = (Visit, Event, MeterEntry)


@dataclass
class Moving:
    """What moves, as facts in the order of writing; `moved` and `alike` count by kind."""

    moved: Counter[Any] = field(default_factory=Counter[Any])
    alike: Counter[Any] = field(default_factory=Counter[Any])
    facts: list[Fact] = field(default_factory=list)
    taken: list[Fact] = field(default_factory=list)
    new_ids: dict[str, str] = field(default_factory=dict)
    empties_pump: bool = False


def joined_into(bearing: Bearing) -> list[UUID]:
    """The positions that were joined into this one: withdrawn by an act that also stands on its chain."""
    acts = Entry.objects.filter(chain=f"bearing:{bearing.pk}").values("act")
    return list(
        Bearing.objects.filter(withdrawn_by__in=acts).exclude(pk=bearing.pk).values_list("pk", flat=True)
    )


def stands_for(pk: UUID) -> UUID:
    """The position that stands for one that was joined, perhaps more than once; itself where it was not."""
    seen = {pk}
    while act := Bearing.objects.filter(pk=pk).values_list("withdrawn_by", flat=True).first():
        for text in Entry.objects.filter(thing=pk, act=act, kind="withdrawal").values_list("text", flat=True):
            pk = UUID(json.loads(text)["body"].get("instead", str(pk)))
        if pk in seen:
            break
        seen.add(pk)
    return pk


def preview(*, gone: Bearing, stays: Bearing) -> Moving:
    """What a join would move; nothing is stored."""
    _may_be_one(gone, stays)
    return _moving(gone, stays, "preview")


@transaction.atomic
def merge(*, gone: Bearing, stays: Bearing, by: UUID, reason: str) -> Moving | None:
    """Move everything of `gone` to `stays`, retire it, and let its names lead on; one act.

    Returns
    -------
    Moving or None
        what moved; None where they were joined already.

    Raises
    ------
    NotRecorded
        without a reason; for two of other sites, one position twice, one retired, or one with work still
        open.
    """
    if not reason.strip():
        raise NotRecorded("A reason is needed: say in a few words why the two are one.")
    ids = (gone.pk, stays.pk)
    held = {one.pk: one for one in Bearing.objects.select_for_update().filter(pk__in=ids).order_by("pk")}
    if held[gone.pk].withdrawn_by and gone.pk in joined_into(stays):
        return None
    if held[gone.pk].withdrawn_by or held[stays.pk].withdrawn_by:
        raise NotRecorded("One of the two has been retired already; look at what stands now.")
    _may_be_one(gone, stays)
    moving = _moving(gone, stays, reason.strip())
    write([*moving.facts, *moving.taken], by=by)
    return moving


def _may_be_one(gone: Bearing, stays: Bearing) -> None:
    if gone.pk == stays.pk:
        raise NotRecorded("These are one position already; choose another one.")
    if gone.place.site_id != stays.place.site_id:
        raise NotRecorded("The two are at different sites, so they cannot be one bearing.")
    open_now = Visit.objects.standing().filter(place=gone.place_id, closed_on__isnull=True)
    if open_now.filter(attendances__isnull=False).exists():
        raise NotRecorded(f"A visit at {gone.place.tag} is still open. Close it, then join.")
    if (
        ProposedLimit.objects.standing()
        .filter(bearing=gone)
        .exclude(pk__in=Confirmation.objects.values("thing"))
        .exists()
    ):
        raise NotRecorded(f"A limit of {gone} waits for a second person. Have it answered, then join.")


def _moving(gone: Bearing, stays: Bearing, reason: str) -> Moving:
    moving = Moving()
    place: Place = gone.place
    others = Bearing.objects.standing().filter(place=place).exclude(pk=gone.pk)
    moving.empties_pump = place.pk != stays.place_id and not others.exists()
    replaced = {"bearing_id": str(stays.pk), "place_id": str(stays.place_id)}
    machine = _machine(stays)
    if place.pk != stays.place_id:
        replaced["machine_id"] = machine
    for row in _rows(gone, stays, moving.empties_pump):
        _take(row, stays, replaced, machine, moving, reason, gone)
    _move_book(gone, stays, moving, reason)
    moving.facts += [fact_of(row) for row in _names(gone, stays)]
    retired: list[Recorded] = [gone, *([place] if moving.empties_pump else [])]
    instead = {gone.pk: stays.pk, place.pk: stays.place_id}
    moving.taken += [_withdrawal(row, reason, instead[row.pk], joined=True) for row in retired]
    return moving


def _machine(bearing: Bearing) -> str:
    rows = Installation.objects.standing().filter(place=bearing.place_id).order_by("-from_on", "-entry_n")
    return str(rows.values_list("machine_id", flat=True)[0])


def _rows(gone: Bearing, stays: Bearing, empties_pump: bool) -> Iterator[Recorded]:
    """Everything standing of the one, what others point to first; of its pump too where it was the last
    position.
    """
    visits = Visit.objects.none()
    if gone.place_id != stays.place_id:
        used = Q(readings__bearing=gone) | Q(events__bearing=gone) | Q(not_measured__bearing=gone)
        visits = Visit.objects.standing().filter(place=gone.place_id)
        visits = Visit.objects.filter(pk__in=(visits if empties_pump else visits.filter(used)).values("pk"))
    for model in KIND:
        yield from _standing_of(model, gone, visits, empties_pump)


def _standing_of(model: type[Recorded], gone: Bearing, visits: Any, empties_pump: bool) -> Any:
    rows: Any = model._base_manager.filter(withdrawn_by__isnull=True)
    if model is Visit:
        return visits
    if model is Attendance:
        return rows.filter(visit__in=visits)
    if model in (Finding, ContactCheck):
        return rows.filter(event__bearing=gone, event__withdrawn_by__isnull=True)
    if model is MeterEntry:
        return rows.filter(place=gone.place_id) if empties_pump else rows.none()
    if model is Event and empties_pump:
        return rows.filter(Q(bearing=gone) | Q(bearing__isnull=True, place=gone.place_id))
    return rows.filter(bearing=gone)


def _take(
    row: Recorded,
    stays: Bearing,
    replaced: dict[str, str],
    machine: str,
    moving: Moving,
    reason: str,
    gone: Bearing,
) -> None:
    kind = KIND[type(row)]
    body = dict(kinds.body_of(row, kinds.kind(kind)))
    whole_pump = isinstance(row, OF_PUMP) and not body.get("bearing_id")
    twin = _alike(row, stays, whole_pump)
    if twin is not None:
        moving.alike[kind] += 1
        moving.new_ids[str(row.pk)] = str(twin)
        moving.taken.append(_withdrawal(row, reason, twin, joined=True))
        return
    new = uuid.uuid4()
    moving.moved[kind] += 1
    moving.new_ids[str(row.pk)] = str(new)
    body |= {name: value for name, value in replaced.items() if body.get(name)}
    for name in ("visit_id", "event_id", "thing"):
        if body.get(name):
            body[name] = moving.new_ids.get(str(body[name]), body[name])
    body["id"] = new
    if hasattr(row, "supersedes"):
        body["supersedes"] = row.pk
    chain = row.chain
    if chain == f"bearing:{gone.pk}":
        chain = f"bearing:{stays.pk}"
    elif chain.startswith("pump:") and "machine_id" in replaced:
        chain = f"pump:{machine}"
    moving.facts.append(Fact(chain, kind, body=body))
    # A visit that other positions of its pump share stays there too, with the people of it.
    if not isinstance(row, (Visit, Attendance)) or moving.empties_pump:
        moving.taken.append(_withdrawal(row, reason, new, joined=False))


def _move_book(gone: Bearing, stays: Bearing, moving: Moving, reason: str) -> None:
    """What is entered of the machine's book, day by day: the one that stays keeps its own entries, and gets
    those it lacks.
    """
    rows = Setting.objects.standing().filter(site=gone.place.site_id).order_by("from_on", "entry_n")
    old, own = (list(rows.filter(name=f"{MACHINE_BOOK} {one.pk}")) for one in (gone, stays))
    made: dict[dt.date, Setting] = {}
    for day in sorted({row.from_on for row in (*old, *own) if row.from_on} if old else ()):
        theirs, mine = _entered(old, day), _entered(own, day)
        if (value := theirs | mine) != mine:
            name = f"{MACHINE_BOOK} {stays.pk}"
            made[day] = Setting(id=uuid.uuid4(), site=gone.place.site, name=name, value=value, from_on=day)
    moving.facts += [fact_of(row) for row in made.values()]
    moving.moved["setting"] += len(made)
    for row in old:
        new = made.get(row.from_on) if row.from_on else None
        moving.alike["setting"] += new is None
        moving.taken.append(_withdrawal(row, reason, new.pk if new else stays.pk, joined=new is None))


def _entered(rows: list[Setting], day: dt.date) -> dict[str, Any]:
    """Entries of a book as they hold on a day, the rows in the order of their days."""
    held = [row for row in rows if row.from_on is not None and row.from_on <= day]
    return dict(held[-1].value) if held else {}


def _alike(row: Recorded, stays: Bearing, whole_pump: bool) -> UUID | None:
    """A standing row of the position that stays which says the same thing."""
    if type(row) not in ALIKE:
        return None
    same = {name: getattr(row, name) for name in ALIKE[type(row)]}
    where = {"place": stays.place_id} if whole_pump else {"bearing": stays.pk}
    if whole_pump and isinstance(row, Event):
        where["bearing__isnull"] = True  # type: ignore[assignment]
    null = {f"{name}__isnull": True for name, value in same.items() if value is None}
    same = {name: value for name, value in same.items() if value is not None}
    rows = type(row)._base_manager.filter(withdrawn_by__isnull=True, **same, **null, **where)
    return rows.values_list("pk", flat=True).first()


def _withdrawal(row: Recorded, reason: str, instead: UUID, *, joined: bool) -> Fact:
    kind = KIND.get(type(row)) or KINDS[type(row)][0]
    body: dict[str, Any] = {"of": kind, "id": row.pk, "reason": reason, "instead": instead}
    return Fact(row.chain, "withdrawal", body=body | ({"joined": True} if joined else {"moved": True}))


def _names(gone: Bearing, stays: Bearing) -> list[Name]:
    """The names that lead on: those in use, and those that led to the one that goes."""
    site = gone.place.site
    found = [(Name.Of.BEARING, stays.pk, gone.name)]
    found += [(Name.Of.BEARING, stays.pk, text) for text in _old(Name.Of.BEARING, gone.pk)]
    if gone.place_id != stays.place_id:
        found.append((Name.Of.PLACE, stays.place_id, gone.place.tag))
        found += [(Name.Of.PLACE, stays.place_id, text) for text in _old(Name.Of.PLACE, gone.place_id)]
    return [
        Name(id=uuid.uuid4(), of=of, thing=thing, site=site, text=text, folded=folded(text))
        for of, thing, text in found
    ]


def _old(of: str, thing: UUID) -> list[str]:
    return list(Name.objects.standing().filter(of=of, thing=thing).values_list("text", flat=True))
