"""Which rows came before: by their own id, by their content, or set aside by an earlier import."""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from uuid import UUID

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.models import SetAside, SheetRow
from fleet.models.recorded import IN_ORDER

BATCH = 500
LONGEST_ID = 180


def give_keys(rows: Iterable[ParsedRow], *, holds: str, id_column: str) -> list[Finding]:
    """Give each row the key by which it is known when it comes again.

    `id:<entry_id>` where the sheet names its rows, else `row:<digest>#<k>`: the digest of the content and how
    often the same content stood earlier in the file, so that two equal rows of one file are two rows.

    Returns
    -------
    list of Finding
        a question for each id that stands twice in the file with different content.
    """
    earlier: Counter[tuple[UUID | None, str]] = Counter()
    by_id: dict[tuple[UUID | None, str], ParsedRow] = {}
    findings = []
    for row in rows:
        row.digest = _digest(row, holds, id_column)
        own = row.typed.get(id_column, "") if id_column else ""
        if not own:
            k = earlier[row.site, row.digest]
            earlier[row.site, row.digest] = k + 1
            row.key = f"row:{row.digest}#{k}"
            continue
        row.key = f"id:{own[:LONGEST_ID]}"
        first = by_id.setdefault((row.site, row.key), row)
        if first is not row:
            row.already = first.digest == row.digest
            if not row.already:
                findings.append(_other_content(row, id_column, f"row {first.number} of this file"))
    return findings


def mark_known(rows: Sequence[ParsedRow], *, id_column: str) -> list[Finding]:
    """Mark rows that are stored already; an id that is known with other content is a question.

    Rows without a site (their pump is not known) cannot be known and are left alone.
    """
    findings: list[Finding] = []
    by_site: dict[UUID, list[ParsedRow]] = defaultdict(list)
    for row in rows:
        if row.site and row.key:
            by_site[row.site].append(row)
    for site, some in by_site.items():
        digests = _stored(site, [row.key for row in some])
        for row in some:
            stored = digests.get(row.key)
            if stored is None:
                continue
            row.already = stored == row.digest
            if not row.already:
                findings.append(_other_content(row, id_column, "the record"))
    return findings


def _stored(site: UUID, keys: list[str]) -> dict[str, str]:
    """Key to digest of the rows that are stored, in a few questions to the database."""
    if not SheetRow.objects.filter(site=site).exists():
        return {}
    found: dict[str, str] = {}
    for start in range(0, len(keys), BATCH):
        some = SheetRow.objects.filter(site=site, key__in=keys[start : start + BATCH])
        found.update(some.values_list("key", "digest"))
    return found


def _digest(row: ParsedRow, holds: str, id_column: str) -> str:
    """SHA-256 of what the row says; its site stands beside the key, its id is the key."""
    said = sorted((name, value) for name, value in row.content.items() if name not in ("site", id_column))
    return hashlib.sha256(
        json.dumps([holds, said], ensure_ascii=False).encode("utf-8", "replace")
    ).hexdigest()


def _other_content(row: ParsedRow, id_column: str, where: str) -> Finding:
    return row.question(
        id_column,
        f"an id that is new, or the same content as in {where}",
        "if the row was corrected, correct the stored entry; if it is another row, give it an id of its own",
        "id_with_other_content",
    )


class SetAsideBefore:
    """Rows that earlier imports set aside and nobody has settled yet, by their words.

    digest: of the file that comes now; a row of it that an answer has changed since is known by its place.
    """

    def __init__(self, holds: str, digest: str) -> None:
        self._waiting: dict[str, list[UUID]] = defaultdict(list)
        self._by_place: dict[int, list[tuple[UUID, dict[str, str]]]] = defaultdict(list)
        self._taken: set[UUID] = set()
        standing = SetAside.objects.standing().filter(sheet__holds=holds).order_by(*IN_ORDER)
        for pk, cells, number, file in standing.values_list("id", "cells", "number", "sheet__file"):
            self._waiting[_words(cells)].append(pk)
            if file == digest:
                self._by_place[number].append((pk, cells))

    def take(self, parsed: Parsed, row: ParsedRow) -> UUID | None:
        """The set-aside row of the same words, each given out once; None where there is none."""
        if not self._waiting:
            return None
        found = self._waiting.get(_words(parsed.words_of(row)))
        if not found:
            return None
        self._taken.add(found[0])
        return found.pop(0)

    def take_settled(self, parsed: Parsed, row: ParsedRow) -> UUID | None:
        """The set-aside row of the same place whose cells an answer has since read otherwise; once all others
        are taken.
        """
        if row.source is None or row.sheet_row not in self._by_place:
            return None
        now = parsed.words_of(row)
        alike: dict[UUID, int] = {}
        for pk, cells in self._by_place[row.sheet_row]:
            fixed = [name for name in cells if name in now and name not in _MAY_CHANGE]
            if pk not in self._taken and all(cells[name] == now[name] for name in fixed):
                alike[pk] = sum(cells.get(name) == text for name, text in now.items())
        if not alike:
            return None
        best = max(alike, key=lambda pk: alike[pk])
        self._taken.add(best)
        return best


# What an answer about a cell of the plant's own layout may read otherwise.
_MAY_CHANGE = frozenset({"value", "unit", "note", "date", "outage", "event", "run_hours"})


def _words(cells: dict[str, str]) -> str:
    return json.dumps(cells, sort_keys=True, ensure_ascii=False)
