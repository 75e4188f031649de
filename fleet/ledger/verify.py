"""Recomputing every chain and seal, and comparing the typed rows with what their entries say.

What it can show: nothing was changed or removed since the last seal that is kept outside the site. What was recorded
after that seal, and what was never entered, no chain can show.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from uuid import UUID

from django.utils.dateparse import parse_datetime

from fleet.ledger import kinds
from fleet.ledger.canonical import GENESIS, canonical, sha256
from fleet.ledger.seal import root_of
from fleet.models.ledger import Chain, Entry, Seal

COLUMNS = ("chain", "n", "act", "kind", "thing", "by", "recorded_at", "format", "text", "hash")


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


def verify(*, rows: bool = True) -> Findings:
    """Recompute all hashes, links, heads and seals; with `rows`, also compare the typed rows with their entries."""
    found = Findings()
    heads: dict[str, list[str]] = {}
    said: dict[str, dict[UUID, dict]] = {}
    changed: set[UUID] = set()
    for entry in _entries():
        found.n_entries += 1
        _check_entry(entry, heads, found)
        body = _body(entry)
        known = kinds.kind(entry["kind"])
        if known.model:
            said.setdefault(entry["kind"], {})[entry["thing"]] = body
        elif body.get("id"):
            changed.add(UUID(body["id"]))
    _check_heads(heads, found)
    _check_seals(heads, found)
    if rows:
        _check_rows(said, changed, found)
    return found


def _entries() -> Iterator[dict]:
    return Entry.objects.order_by("chain", "n").values(*COLUMNS).iterator(chunk_size=5000)


def _body(entry: dict) -> dict:
    try:
        return json.loads(entry["text"]).get("body", {})
    except ValueError:
        return {}


def _check_entry(entry: dict, heads: dict[str, list[str]], found: Findings) -> None:
    place = f"{entry['chain']}, entry {entry['n']}"
    before = heads.setdefault(entry["chain"], [])
    if entry["n"] != len(before) + 1:
        found.faults.append(
            f"{place}: entry {len(before) + 1} should come here; one is missing or was put in."
        )
    if sha256(entry["text"]) != entry["hash"]:
        found.faults.append(f"{place}: its text does not give its hash; the text or the hash was changed.")
    try:
        said = json.loads(entry["text"])
    except ValueError:
        found.faults.append(f"{place}: its text cannot be read.")
        before.append(entry["hash"])
        return
    if said.get("prev") != (before[-1] if before else GENESIS):
        found.faults.append(f"{place}: it does not follow the entry before it.")
    copies = {
        "chain": entry["chain"], "n": entry["n"], "act": str(entry["act"]), "kind": entry["kind"],
        "by": str(entry["by"]), "format": entry["format"],
    }  # fmt: skip
    for name, copy in copies.items():
        if said.get(name) != copy:
            found.faults.append(f"{place}: the column {name} says '{copy}', the text '{said.get(name)}'.")
    if parse_datetime(said.get("recorded_at", "")) != entry["recorded_at"]:
        found.faults.append(f"{place}: the column recorded_at differs from the text.")
    before.append(entry["hash"])


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
    prev, sealed = GENESIS, {}
    for seal in Seal.objects.order_by("n"):
        found.n_seals += 1
        place = f"seal {seal.n}"
        said = json.loads(seal.text)
        if sha256(seal.text) != seal.hash or said["n"] != seal.n or said["root"] != seal.root:
            found.faults.append(f"{place}: it was changed.")
        if said["prev"] != prev or seal.n != found.n_seals:
            found.faults.append(f"{place}: it does not follow the seal before it.")
        for leaf in said["changed"]:
            sealed[leaf["chain"]] = leaf
            hashes = heads.get(leaf["chain"], [])
            if len(hashes) < leaf["n"] or (leaf["n"] and hashes[leaf["n"] - 1] != leaf["head"]):
                found.faults.append(
                    f"{place}: {leaf['chain']} no longer holds what was sealed at entry {leaf['n']}."
                )
        if root_of([sealed[name] for name in sorted(sealed)]) != said["root"]:
            found.faults.append(f"{place}: its root is not that of the chains it names.")
        prev, found.last_seal_at = seal.hash, seal.sealed_at


def _check_rows(said: dict[str, dict[UUID, dict]], changed: set[UUID], found: Findings) -> None:
    """A row that some later act changed is compared only for being there; the others field by field."""
    for known in kinds.all_kinds():
        if not known.model:
            continue
        expected = said.get(known.name, {})
        for row in known.model.objects.iterator(chunk_size=5000):
            found.n_rows += 1
            body = expected.pop(row.pk, None)
            if body is None:
                found.faults.append(f"{known.name} {row.pk}: a row that no entry stands for.")
            elif row.pk not in changed and canonical(kinds.body_of(row, known)) != canonical(body):
                found.faults.append(
                    f"{known.name} {row.pk}: the row differs from its entry {row.chain} {row.entry_n}."
                )
        for pk in expected:
            found.faults.append(f"{known.name} {pk}: its entry is there, its row is not.")
