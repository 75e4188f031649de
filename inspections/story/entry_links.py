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
class EntryLinks:
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


def links_of(
    entries: Sequence[Entry], bodies: Bodies, people: Mapping[str, str], recorded: QuerySet[Entry]
) -> EntryLinks:
    """Tie entries to those they change or replace, and tell each change (`_of`, `_stands`, `_before`) what it
    is of.

    Parameters
    ----------
    entries : in the order of recording.
    bodies : by entry; changed in place.
    people : names by inner id.
    recorded : what was known; entries of other chains that these name are read from it.
    """
    links = EntryLinks()
    links.added = {str(entry.thing): entry for entry in entries if entry.thing and entry.kind not in CHANGES}
    elsewhere, more = _elsewhere(entries, bodies, links, recorded)
    everything = bodies | more
    for thing, entry in links.added.items():
        links.words[thing] = _thing_words(entry, everything[entry.pk], elsewhere.get(entry.chain, ""))
    for entry in entries:
        if entry.kind == "import_withdrawal":
            when = (
                f"withdrawn with its whole import {day(entry.recorded_at.date())}:"
                f" {bodies[entry.pk]['reason']}"
            )
            links.taken |= {row: when for ids in bodies[entry.pk]["kinds"].values() for row in ids}
        elif entry.kind in CHANGES:
            _link_change(entry, bodies[entry.pk], links, everything, people)
        elif old := bodies[entry.pk].get("supersedes"):
            links.instead.setdefault(old, str(entry.thing))
    for old, new in links.instead.items():
        links.replaces.setdefault(new, []).append(old)
    return links


def _elsewhere(
    entries: Iterable[Entry], bodies: Bodies, links: EntryLinks, recorded: QuerySet[Entry]
) -> tuple[dict[str, str], Bodies]:
    """Entries of other chains that these name, put with `links.added`: the positions of those chains, and the
    bodies.
    """
    named = {bodies[entry.pk].get(name) for entry in entries for name in ("supersedes", "instead")}
    named |= {bodies[entry.pk].get("id") for entry in entries if entry.kind in CHANGES}
    missing = [UUID(thing) for thing in named if thing and thing not in links.added]
    found = list(recorded.filter(thing__in=missing).exclude(kind__in=CHANGES)) if missing else []
    links.added |= {str(entry.thing): entry for entry in found}
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


def _link_change(
    entry: Entry, body: dict[str, Any], links: EntryLinks, everything: Bodies, people: Mapping[str, str]
) -> None:
    thing, instead = body["id"], body.get("instead") or ""
    body["_of"] = links.words.get(thing, "")
    first = everything[links.added[thing].pk] if thing in links.added else {}
    when = (
        f"{day(entry.recorded_at.date())} by {people.get(str(entry.by), NOT_KNOWN)}: {body.get('reason', '')}"
    )
    if entry.kind == "revision":
        body["_before"] = {name: _named(first.get(name), people) for name in body["set"]} if first else {}
        first.update(body["set"])
        body["set"] = {name: _named(value, people) for name, value in body["set"].items()}
        links.taken[thing] = f"corrected {when}"
        return
    stands = links.words.get(instead, "another entry") if instead else ""
    body["_stands"] = stands
    did = "withdrawn"
    if body.get("joined"):
        did = f"joined with {_number(links, instead)}, which stands,"
    elif body.get("moved"):
        did = "moved to the position that stands,"
    links.taken[thing] = f"{did} {when}" + (
        f". In its place: {stands}" if stands and did == "withdrawn" else ""
    )
    if instead:
        links.instead[thing] = instead


def _number(links: EntryLinks, thing: str) -> str:
    return f"entry no. {links.added[thing].n}" if thing in links.added else "another entry"


def _named(value: Any, people: Mapping[str, str]) -> Any:
    return people.get(value, value) if isinstance(value, str) else value
