"""Recomputing every chain and seal, and comparing the typed rows with what their entries say.

What it can show: nothing was changed or removed since the last seal that is kept outside the site. What was recorded
after that seal, and what was never entered, no chain can show.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fleet.ledger import kinds
from fleet.ledger.canonical import GENESIS, plain, sha256
from fleet.ledger.seal import root_of
from fleet.models.ledger import Chain, Entry, Seal

COLUMNS = ("id", "chain", "n", "act", "kind", "thing", "by", "recorded_at", "format", "text", "hash")


@dataclass
class Findings:
    """What a verification found; sound when `faults` is empty."""

    n_entries: int = 0
    n_chains: int = 0
    n_seals: int = 0
    n_rows: int = 0
    faults: list[str] = field(default_factory=list)
    last_seal_at: object = None

    def __bool__(self) -> bool:
        return not self.faults


@dataclass
class _Said:
    """What the entries say of the typed rows, changes folded in.

    rows: by kind and row, the body of the entry that added it, with what later revisions set.
    withdrawn: by row, the act that withdrew it last.
    """

    rows: dict[str, dict[UUID, dict[str, Any]]] = field(default_factory=dict[str, Any])
    withdrawn: dict[UUID, UUID] = field(default_factory=dict)
    changes: list[tuple[object, int, dict[str, Any], UUID]] = field(default_factory=list)

    def take(self, entry: dict[str, Any], body: dict[str, Any]) -> None:
        """Keep what an entry says; a kind nobody knows raises LookupError."""
        known = kinds.kind(entry["kind"])
        if known.model:
            self.rows.setdefault(entry["kind"], {})[entry["thing"]] = body
        elif entry["kind"] in ("withdrawal", "revision"):
            self.changes.append((entry["recorded_at"], entry["id"], body, entry["act"]))
        elif entry["kind"] == "import_withdrawal":
            for of, ids in body["kinds"].items():
                self.changes += [
                    (entry["recorded_at"], entry["id"], {"of": of, "id": row}, entry["act"]) for row in ids
                ]

    def fold(self, found: Findings) -> None:
        """Apply the changes in the order of recording; one that points nowhere is a fault."""
        for _, _, body, act in sorted(self.changes, key=lambda change: change[:2]):
            row = UUID(body["id"])
            known = self.rows.get(body["of"], {}).get(row)
            if known is None:
                found.faults.append(f"{body['of']} {row}: an entry changes it, and none added it.")
            elif "set" in body:
                known.update(body["set"])
            else:
                self.withdrawn[row] = act


def verify(*, rows: bool = True) -> Findings:
    """Recompute all hashes, links, heads and seals; with `rows`, also compare the typed rows with their entries."""
    found, said = Findings(), _Said()
    heads: dict[str, list[str]] = {}
    for entry in _entries():
        found.n_entries += 1
        body = _check_entry(entry, heads, found)
        try:
            said.take(entry, body)
        except LookupError:
            found.faults.append(f"{_place(entry)}: no kind of entry is called '{entry['kind']}'.")
    _check_heads(heads, found)
    _check_seals(heads, found)
    if rows:
        said.fold(found)
        _check_rows(said, found)
    return found


def _place(entry: dict[str, Any]) -> str:
    return f"{entry['chain']}, entry {entry['n']}"


def _entries() -> Iterator[dict[str, Any]]:
    yield from Entry.objects.order_by("chain", "n").values(*COLUMNS).iterator(chunk_size=5000)


def _check_entry(entry: dict[str, Any], heads: dict[str, list[str]], found: Findings) -> dict[str, Any]:
    """Hash, link, number and copies of one entry; returns its body, empty where its text cannot be read."""
    place = _place(entry)
    before = heads.setdefault(entry["chain"], [])
    if entry["n"] != len(before) + 1:
        found.faults.append(
            f"{place}: entry {len(before) + 1} should come here; one is missing or was put in."
        )
    if sha256(entry["text"]) != entry["hash"]:
        found.faults.append(f"{place}: its text does not give its hash; the text or the hash was changed.")
    prev = before[-1] if before else GENESIS
    before.append(entry["hash"])
    try:
        said = json.loads(entry["text"])
        body = said["body"]
    except (ValueError, KeyError, TypeError):
        found.faults.append(f"{place}: its text cannot be read.")
        return {}
    if said.get("prev") != prev:
        found.faults.append(f"{place}: it does not follow the entry before it.")
    copies = {
        "chain": entry["chain"],
        "n": entry["n"],
        "act": str(entry["act"]),
        "kind": entry["kind"],
        "by": str(entry["by"]),
        "format": entry["format"],
        "recorded_at": plain(entry["recorded_at"]),
    }
    for name, copy in copies.items():
        if said.get(name) != copy:
            found.faults.append(f"{place}: the column {name} says '{copy}', the text '{said.get(name)}'.")
    thing = body.get("id")
    if thing != (str(entry["thing"]) if entry["thing"] else None):
        found.faults.append(f"{place}: the column thing differs from the text.")
    return dict(body)


def _check_heads(heads: dict[str, list[str]], found: Findings) -> None:
    for chain in Chain.objects.order_by("id"):
        found.n_chains += 1
        hashes = heads.get(chain.id, [])
        if chain.n != len(hashes) or chain.head != (hashes[-1] if hashes else GENESIS):
            found.faults.append(
                f"{chain.id}: its head says {chain.n} entries; {len(hashes)} that end so are there."
            )
    for name in set(heads) - set(Chain.objects.values_list("id", flat=True)):
        found.faults.append(f"{name}: it has entries and no head.")


def _check_seals(heads: dict[str, list[str]], found: Findings) -> None:
    prev = GENESIS
    sealed: dict[str, dict[str, Any]] = {}
    for seal in Seal.objects.order_by("n"):
        found.n_seals += 1
        place = f"seal {seal.n}"
        if sha256(seal.text) != seal.hash:
            found.faults.append(f"{place}: it was changed.")
        try:
            said = json.loads(seal.text)
            _check_seal(seal, said, prev, found.n_seals, found)
            _check_leaves(place, said, sealed, heads, found)
        except (ValueError, KeyError, TypeError):
            found.faults.append(f"{place}: its text cannot be read.")
        prev, found.last_seal_at = seal.hash, seal.sealed_at


def _check_seal(seal: Seal, said: dict[str, Any], prev: str, number: int, found: Findings) -> None:
    if said["n"] != seal.n or said["root"] != seal.root or said["sealed_at"] != plain(seal.sealed_at):
        found.faults.append(f"seal {seal.n}: its columns differ from its text.")
    if said["prev"] != prev or seal.n != number:
        found.faults.append(f"seal {seal.n}: it does not follow the seal before it.")


def _check_leaves(
    place: str,
    said: dict[str, Any],
    sealed: dict[str, dict[str, Any]],
    heads: dict[str, list[str]],
    found: Findings,
) -> None:
    for leaf in said["changed"]:
        sealed[leaf["chain"]] = leaf
        hashes = heads.get(leaf["chain"], [])
        if len(hashes) < leaf["n"] or (leaf["n"] and hashes[leaf["n"] - 1] != leaf["head"]):
            found.faults.append(
                f"{place}: {leaf['chain']} no longer holds what was sealed at entry {leaf['n']}."
            )
    if root_of([sealed[name] for name in sorted(sealed)]) != said["root"]:
        found.faults.append(f"{place}: its root is not that of the chains it names.")


def _check_rows(said: _Said, found: Findings) -> None:
    """Every typed row against what its entries say, field by field, and every entry against its row."""
    for known in kinds.all_kinds():
        if not known.model:
            continue
        expected = said.rows.get(known.name, {})
        for row in known.model._base_manager.iterator(chunk_size=5000):
            found.n_rows += 1
            body = expected.pop(row.pk, None)
            if body is None:
                found.faults.append(f"{known.name} {row.pk}: a row that no entry stands for.")
                continue
            if plain(kinds.body_of(row, known)) != _without_blanks(body):
                found.faults.append(
                    f"{known.name} {row.pk}: the row differs from its entry {row.chain} {row.entry_n}."
                )
            if row.withdrawn_by != said.withdrawn.get(row.pk):
                found.faults.append(
                    f"{known.name} {row.pk}: whether it was withdrawn differs from its entries."
                )
        for pk in expected:
            found.faults.append(f"{known.name} {pk}: its entry is there, its row is not.")


def _without_blanks(body: dict[str, Any]) -> dict[str, Any]:
    """A body as `kinds.body_of` gives it: a field that a revision emptied says nothing."""
    return {name: value for name, value in body.items() if value is not None and value not in ("", [], {})}
