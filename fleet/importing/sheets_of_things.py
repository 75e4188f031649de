"""Sheets whose rows each describe one thing: new ones are added, changed cells are a revision, the same adds
nothing.
"""

import uuid
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from fleet.importing.columns import CLEAR
from fleet.importing.directory import in_words
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context, Loader
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.ledger.writing import write
from fleet.models import Recorded
from fleet.plant.acts import fact_of, kind_by_kind, revision_of


class ThingLoader(Loader):
    """What outages, spares and work hours share; a subclass says how a thing is known and what a row says of
    it.
    """

    when_cleared: Mapping[str, Any] = {}
    named_by: str = ""

    def key_of(self, row: ParsedRow) -> Hashable:
        """By what the thing of a row is known; None where the row is at fault."""
        raise NotImplementedError

    def known(self, context: Context) -> dict[Hashable, Recorded]:
        """The things that are there, by the same key."""
        raise NotImplementedError

    def said_of(self, row: ParsedRow) -> dict[str, Any]:
        """Field -> value for what the row's filled cells say."""
        raise NotImplementedError

    def make(self, row: ParsedRow, said: dict[str, Any]) -> Recorded:
        """A new thing."""
        raise NotImplementedError

    def resolve(self, parsed: Parsed, context: Context) -> Iterator[Finding]:
        yield from resolve_sites(parsed.rows, context)

    def twice(self, rows: Iterable[ParsedRow]) -> Iterator[Finding]:
        """A thing stands in one row of a file."""
        first: dict[Hashable, ParsedRow] = {}
        for row in rows:
            key = self.key_of(row)
            before = row if key is None else first.setdefault(key, row)
            if before is not row:
                expected = f"each once in a file (row {before.number} has it)"
                yield row.fault(self.named_by, expected, "keep one of the two rows", "twice")

    def prepare(self, rows: Sequence[ParsedRow], context: Context) -> None:
        known = self.known(context)
        facts = []
        for row in rows:
            said, thing = self.said_of(row), known.get(self.key_of(row))
            if thing is None:
                new = {field: value for field, value in said.items() if value is not CLEAR}
                facts.append(fact_of(self.make(row, new)))
                continue
            values = {
                f: self.when_cleared.get(f, "") if value is CLEAR else value for f, value in said.items()
            }
            changed = {field: value for field, value in values.items() if value != getattr(thing, field)}
            if changed:
                facts.append(revision_of(thing, changed, reason="the sheet came again"))
        context.memory["facts"] = kind_by_kind(facts)

    def store(self, rows: Sequence[ParsedRow], context: Context, act: uuid.UUID) -> tuple[int, int]:
        facts = context.memory["facts"]
        if facts:
            write(facts, by=context.by, act=act)
        return len(facts), len(rows) - len(facts)


def resolve_sites(rows: Iterable[ParsedRow], context: Context) -> Iterator[Finding]:
    """Set each row's site; one that nobody knows is a question with the nearest names."""
    for row in rows:
        name = row.get("site") or context.options.site
        if not name:
            continue
        site = context.directory.site(name)
        row.values["_site"] = site
        row.site = site.id if site else None
        if site is None:
            near = in_words(context.directory.nearest_sites(name))
            remedy = f"perhaps {near} is meant" if near else "register the site first (import_register)"
            yield row.question("site", "the name of a site of the register", remedy, "unknown_site")
