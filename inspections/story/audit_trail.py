"""One bearing's entries as an auditor reads them: what was recorded, when, by whom, from what source, in
plain words.
"""

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from fleet.clock import today_in
from fleet.ledger import kinds
from fleet.models import Bearing, Entry, Installation, Instrument, Person, Sheet
from fleet.plant.calibration import doubts
from fleet.plant.roles_held import RolesHeld, right_words, role_words
from inspections.records.position_merge import joined_into
from inspections.story.entry_links import NOT_KNOWN, Bodies, EntryLinks, day_of, links_of
from inspections.story.entry_words import CHANGES, entry_words
from inspections.story.uncertainty import spreads, uncertainty_of

NAMED = ("measured_by", "done_by", "checked_by", "person_id")


@dataclass(frozen=True)
class Line:
    """One entry in words.

    number : its place in the order of recording.
    withdrawn : when, by whom and why it no longer counts, and what stands in its place.
    replaces : what it stands in the place of.
    uncertainty_um : of a reading, its standard uncertainty.
    roles, rights : what whoever recorded it held then.
    """

    happened_on: dt.date | None
    recorded_at: dt.datetime
    chain: str
    n: int
    hash: str
    kind: str
    what: str
    who: str
    source: str
    thing: UUID | None
    number: int = 0
    withdrawn: str = ""
    replaces: str = ""
    uncertainty_um: float | None = None
    roles: str = ""
    rights: str = ""

    @property
    def kind_words(self) -> str:
        return kinds.words_of(self.kind)

    @property
    def days_late(self) -> int | None:
        """Days between what happened and its recording."""
        return (self.recorded_at.date() - self.happened_on).days if self.happened_on else None

    @property
    def late(self) -> str:
        """How much later it was recorded, in words; nothing where it was the same day."""
        return late_words(self.happened_on, self.recorded_at.date())


def late_words(happened_on: dt.date | None, recorded_on: dt.date) -> str:
    """How much later something was recorded than it happened; nothing for the same day or a day not known.

    >>> late_words(dt.date(1998, 3, 9), dt.date(2026, 3, 9))
    '28 years later'
    """
    days = (recorded_on - happened_on).days if happened_on else 0
    if days <= 0:
        return ""
    if days < 120:
        return f"{days} day{'' if days == 1 else 's'} later"
    return f"{round(days / 30.44)} months later" if days < 730 else f"{round(days / 365.25)} years later"


@dataclass(frozen=True)
class LedgerStory:
    """All entries of one bearing's own chain and its machines' chains, as known on a day."""

    bearing: Bearing
    lines: list[Line] = field(default_factory=list)
    n_entries: int = 0
    n_corrections: int = 0

    @property
    def kinds(self) -> list[tuple[str, str]]:
        """The kinds there are, with their words."""
        return sorted({(line.kind, line.kind_words) for line in self.lines}, key=lambda pair: pair[1])


def ledger_story(bearing: Bearing, known_by: dt.date | None = None) -> LedgerStory:
    """The story of a bearing out of the ledger itself.

    Parameters
    ----------
    bearing : Bearing
    known_by : date, optional
        only what had been recorded by the end of that day (UTC): what was known then.
    """
    machines = (
        Installation.objects.standing().filter(place=bearing.place_id).values_list("machine_id", flat=True)
    )
    own = {
        str(bearing.pk),
        *(str(pk) for pk in joined_into(bearing)),
    }  # what was joined into it is its story too
    chains = [*(f"bearing:{pk}" for pk in sorted(own)), *(f"pump:{machine}" for machine in machines)]
    recorded = Entry.objects.all()
    if known_by:
        recorded = recorded.filter(recorded_at__lt=dt.datetime.combine(known_by, dt.time.max, tzinfo=dt.UTC))
    entries = list(recorded.filter(chain__in=chains).order_by("id"))
    bodies = {entry.pk: json.loads(entry.text)["body"] for entry in entries}
    people = _people(entries, bodies.values())
    _join_second_persons(entries, bodies, people)
    links = links_of(entries, bodies, people, recorded)
    shown = [entry for entry in entries if _bearing_of(entry, bodies, links) in {None, *own}]
    lines = _lines(shown, bodies, people, links, bearing)
    changes = sum(line.kind in CHANGES for line in lines)
    return LedgerStory(bearing, _together(lines, links), len(entries), changes)


def _bearing_of(entry: Entry, bodies: Bodies, links: EntryLinks) -> str | None:
    """The position that an entry is of; of a change, that of what it changes; None for the whole pump."""
    body = bodies[entry.pk]
    if entry.kind in CHANGES and body.get("id") in links.added:
        body = bodies.get(links.added[body["id"]].pk, body)
    of: str | None = body.get("bearing_id")
    return of


def _lines(
    entries: Sequence[Entry], bodies: Bodies, people: Mapping[str, str], links: EntryLinks, bearing: Bearing
) -> list[Line]:
    # A register's rows name no sheet: the act they share with it does.
    sheets = {sheet.act: sheet for sheet in Sheet.objects.filter(act__in={entry.act for entry in entries})}
    gauges = _gauges([bodies[entry.pk] for entry in entries])
    roles = RolesHeld.of({entry.by for entry in entries}, bearing.place.site_id)
    trust = spreads(today_in("UTC"))
    lines = []
    for entry in entries:
        body, thing = bodies[entry.pk], str(entry.thing)
        line = _line(entry, body, people, sheets, gauges)
        held = roles.at(entry.by, entry.pk, entry.recorded_at.date())
        changes_other = entry.kind in CHANGES
        lines.append(
            replace(
                line,
                withdrawn="" if changes_other else links.taken.get(thing, ""),
                replaces="" if changes_other else links.replaced_words(thing),
                uncertainty_um=uncertainty_of(
                    body.get("method", ""), body.get("value_um") if entry.kind == "reading" else None, trust
                ),
                roles=role_words(held),
                rights=right_words(held),
            )
        )
    return lines


def _together(lines: Sequence[Line], links: EntryLinks) -> list[Line]:
    """The newest first by the day they tell of, then by the order of recording; under
    each what it replaces.
    """
    by_thing = {str(line.thing): line for line in lines if line.kind not in CHANGES}
    replaced = {old for old, new in links.instead.items() if old in by_thing and new in by_thing}
    ordered = sorted(
        lines, key=lambda line: (line.happened_on or line.recorded_at.date(), line.number), reverse=True
    )
    placed: dict[int, Line] = {}
    # What was replaced comes with what replaces it; whatever were left over by two that name each other comes
    # last.
    heads = [line for line in ordered if line.kind in CHANGES or str(line.thing) not in replaced]
    for head in [*heads, *ordered]:
        waiting = [head]
        while waiting:
            line = waiting.pop()
            if line.number in placed:
                continue
            placed[line.number] = line
            if line.kind not in CHANGES:
                waiting += [
                    by_thing[old] for old in links.replaces.get(str(line.thing), []) if old in by_thing
                ]
    return list(placed.values())


def _gauges(bodies: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], str]:
    """By gauge and day of a reading: the gauge's label, and what speaks against it on that day."""
    used = {
        (body["instrument_id"], body["on"]) for body in bodies if body.get("instrument_id") and body.get("on")
    }
    if not used:
        return {}
    labels = {
        str(one.pk): one.label for one in Instrument.objects.filter(pk__in={gauge for gauge, _ in used})
    }
    said = doubts((UUID(gauge), dt.date.fromisoformat(on)) for gauge, on in used)
    return {
        (gauge, on): (
            f", gauge {labels.get(gauge, 'not known')}"
            + (f" ({words})" if (words := said.get((UUID(gauge), dt.date.fromisoformat(on)), "")) else "")
        )
        for gauge, on in used
    }


def _people(entries: Sequence[Entry], bodies: Any) -> dict[str, str]:
    wanted = {str(entry.by) for entry in entries}
    for body in bodies:
        wanted |= {body[name] for name in NAMED if body.get(name)}
        wanted |= {body["set"][name] for name in NAMED if body.get("set", {}).get(name)}
    return {str(person.pk): str(person) for person in Person.objects.filter(pk__in=wanted)}


def _line(
    entry: Entry,
    body: Mapping[str, Any],
    people: Mapping[str, str],
    sheets: Mapping[UUID, Sheet],
    gauges: Mapping[tuple[str, str], str],
) -> Line:
    return Line(
        day_of(body),
        entry.recorded_at,
        entry.chain,
        entry.n,
        entry.hash,
        entry.kind,
        entry_words(entry.kind, body) + gauges.get((body.get("instrument_id", ""), body.get("on", "")), ""),
        _who(entry, body, people),
        _source(entry, body, sheets),
        entry.thing,
        entry.pk,
    )


def _who(entry: Entry, body: Mapping[str, Any], people: Mapping[str, str]) -> str:
    """Recorded by, and measured, done and checked by where that is said; of what wants two persons both."""
    did = "recorded"
    if entry.kind == "proposed_limit":
        did = "proposed"
    elif entry.kind == "confirmation" or body.get("_first"):
        did = "confirmed" if body.get("agreed", True) else "refused"
    elif entry.kind == "signature":
        did = "signed"
    by = people.get(str(entry.by), NOT_KNOWN)
    said = [f"{did} by {by}"]
    if entry.kind == "signature_asked":
        said.append(f"of {people.get(body['person_id'], 'someone not known')}")
    if body.get("_first"):
        said.insert(0, body["_first"])
    for name, words in (("measured_by", "measured by"), ("done_by", "done by"), ("checked_by", "checked by")):
        if body.get(name):
            said.append(f"{words} {people.get(body[name], 'someone not known')}")
    if body.get("checked_by"):
        said.append(f"as named by {by}")
        said += ["measured and checked by the same person"] * (body["checked_by"] == body.get("measured_by"))
    return ", ".join(said)


def _source(entry: Entry, body: Mapping[str, Any], sheets: Mapping[UUID, Sheet]) -> str:
    sheet = sheets.get(entry.act)
    said = [sheet.name if sheet else "", f"row {body['sheet_row']}" if body.get("sheet_row") else ""]
    said.append(f"job {body['job']}" if body.get("job") else "")
    return ", ".join(word for word in said if word)


def _join_second_persons(
    entries: Sequence[Entry], bodies: Mapping[int, dict[str, Any]], people: Mapping[str, str]
) -> None:
    """Give a confirmation, and the limit written with it, the words and the author of what it confirms."""
    first = {str(entry.thing): entry for entry in entries if entry.kind in ("proposed_limit", "event")}
    authors: dict[tuple[UUID, str], str] = {}
    for entry in entries:
        body = bodies[entry.pk]
        if entry.kind != "confirmation" or body["thing"] not in first:
            continue
        what = first[body["thing"]]
        did = "proposed" if what.kind == "proposed_limit" else "recorded"
        body["_what"] = entry_words(what.kind, bodies[what.pk])
        body["_first"] = f"{did} by {people.get(str(what.by), 'someone not known')}"
        if what.kind == "proposed_limit":
            authors[entry.act, bodies[what.pk]["use"]] = body["_first"]
    for entry in entries:
        if entry.kind == "limit" and (by := authors.get((entry.act, bodies[entry.pk]["use"]))):
            bodies[entry.pk]["_first"] = by
