"""What entries say of each other: of what a change is, what stands in its place, and what a new entry
replaces.
"""

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from fleet.formatting import day
from fleet.ledger import kinds
from fleet.models import Bearing, Entry
from inspections.story.entry_words import CHANGES, entry_words

Bodies = dict[int, dict[str, Any]]
NOT_KNOWN = "someone not known"


@dataclass
class Ties:
    """By the inner id of a thing: the entry that added it, what took it back, what it replaces."""

    added: dict[str, Entry] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    taken: dict[str, str] = field(default_factory=dict)
    replaces: dict[str, list[str]] = field(default_factory=dict)
    instead: dict[str, str] = field(default_factory=dict)

    def replaced_words(self, thing: str) -> str:
        """What an entry stands in the place of, in words; nothing where it replaces nothing."""
        return "; ".join(
            self.words.get(old, "an entry of another bearing") for old in self.replaces.get(thing, ())
        )


def day_of(body: Mapping[str, Any]) -> dt.date | None:
    """The day on which what an entry says happened or begins to hold; None where it names none."""
    iso = body.get("on") or body.get("from_on") or body.get("opened_on")
    return dt.date.fromisoformat(iso) if iso else None


def tie(
    entries: Sequence[Entry], bodies: Bodies, people: Mapping[str, str], recorded: QuerySet[Entry]
) -> Ties:
    """Tie entries to those they change or replace, and tell each change (`_of`, `_stands`, `_before`) what it
    is of.

    Parameters
    ----------
    entries : in the order of recording.
    bodies : by entry; changed in place.
    people : names by inner id.
    recorded : what was known; entries of other chains that these name are read from it.
    """
    ties = Ties()
    ties.added = {str(entry.thing): entry for entry in entries if entry.thing and entry.kind not in CHANGES}
    elsewhere, more = _elsewhere(entries, bodies, ties, recorded)
    everything = bodies | more
    for thing, entry in ties.added.items():
        ties.words[thing] = _thing_words(entry, everything[entry.pk], elsewhere.get(entry.chain, ""))
    for entry in entries:
        if entry.kind == "import_withdrawal":
            when = (
                f"withdrawn with its whole import {day(entry.recorded_at.date())}:"
                f" {bodies[entry.pk]['reason']}"
            )
            ties.taken |= {row: when for ids in bodies[entry.pk]["kinds"].values() for row in ids}
        elif entry.kind in CHANGES:
            _tie_change(entry, bodies[entry.pk], ties, everything, people)
        elif old := bodies[entry.pk].get("supersedes"):
            ties.instead.setdefault(old, str(entry.thing))
    for old, new in ties.instead.items():
        ties.replaces.setdefault(new, []).append(old)
    return ties


def _elsewhere(
    entries: Iterable[Entry], bodies: Bodies, ties: Ties, recorded: QuerySet[Entry]
) -> tuple[dict[str, str], Bodies]:
    """Entries of other chains that these name, put with `ties.added`: the positions of those chains, and the
    bodies.
    """
    named = {bodies[entry.pk].get(name) for entry in entries for name in ("supersedes", "instead")}
    named |= {bodies[entry.pk].get("id") for entry in entries if entry.kind in CHANGES}
    missing = [UUID(thing) for thing in named if thing and thing not in ties.added]
    found = list(recorded.filter(thing__in=missing).exclude(kind__in=CHANGES)) if missing else []
    ties.added |= {str(entry.thing): entry for entry in found}
    chains = {entry.chain for entry in found if entry.chain.startswith("bearing:")}
    rows = Bearing.objects.filter(pk__in=[chain.partition(":")[2] for chain in chains]) if chains else []
    names = {f"bearing:{row.pk}": f" of {row.place.tag} {row.name}" for row in _with_places(rows)}
    return names, {entry.pk: json.loads(entry.text)["body"] for entry in found}


def _with_places(rows: Any) -> Any:
    return rows.select_related("place") if isinstance(rows, QuerySet) else rows


def _thing_words(entry: Entry, body: Mapping[str, Any], where: str) -> str:
    on = day_of(body)
    what = f"{kinds.words_of(entry.kind)}{f' of {day(on)}' if on else ''}"
    return f"{what}, entry no. {entry.n}{where} ({entry_words(entry.kind, body)})"


def _tie_change(
    entry: Entry, body: dict[str, Any], ties: Ties, everything: Bodies, people: Mapping[str, str]
) -> None:
    thing, instead = body["id"], body.get("instead") or ""
    body["_of"] = ties.words.get(thing, "")
    first = everything[ties.added[thing].pk] if thing in ties.added else {}
    when = (
        f"{day(entry.recorded_at.date())} by {people.get(str(entry.by), NOT_KNOWN)}: {body.get('reason', '')}"
    )
    if entry.kind == "revision":
        body["_before"] = {name: _named(first.get(name), people) for name in body["set"]} if first else {}
        first.update(body["set"])
        body["set"] = {name: _named(value, people) for name, value in body["set"].items()}
        ties.taken[thing] = f"corrected {when}"
        return
    stands = ties.words.get(instead, "another entry") if instead else ""
    body["_stands"] = stands
    did = "withdrawn"
    if body.get("joined"):
        did = f"joined with {_number(ties, instead)}, which stands,"
    elif body.get("moved"):
        did = "moved to the position that stands,"
    ties.taken[thing] = f"{did} {when}" + (
        f". In its place: {stands}" if stands and did == "withdrawn" else ""
    )
    if instead:
        ties.instead[thing] = instead


def _number(ties: Ties, thing: str) -> str:
    return f"entry no. {ties.added[thing].n}" if thing in ties.added else "another entry"


def _named(value: Any, people: Mapping[str, str]) -> Any:
    return people.get(value, value) if isinstance(value, str) else value
