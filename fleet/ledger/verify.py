"""Recomputing every chain and seal, and comparing the typed rows with what their entries say.

What it can show: nothing was changed or removed since the last seal that is kept outside the site. What was
recorded after that seal, and what was never entered, no chain can show.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from fleet.bulk import without_collecting
from fleet.ledger.canonical import GENESIS, entry_frame, plain, sha256
from fleet.ledger.committed_rows import Look, look_beside
from fleet.ledger.driver_rows import DriverRows, column_of
from fleet.ledger.one_moment import as_at_one_moment
from fleet.ledger.remembered_values import remembered_values
from fleet.ledger.seal import root_of
from fleet.ledger.typed_rows import Expected, check_rows
from fleet.models.ledger import Chain, Entry, Seal

COLUMNS = ("chain", "n", "act", "by", "recorded_at", "kind", "thing", "format", "text", "hash", "id")


@dataclass
class Findings:
    """What a verification found; sound when `faults` is empty."""

    n_entries: int = 0
    n_chains: int = 0
    n_seals: int = 0
    n_rows: int = 0
    faults: list[str] = field(default_factory=list)
    beside: list[Look] = field(default_factory=list)
    last_seal_at: object = None

    def __bool__(self) -> bool:
        return not self.faults


def verify(*, rows: bool = True) -> Findings:
    """Recompute all hashes, links, heads and seals; with `rows`, also compare the typed rows, and what stands
    beside.
    """
    found = Findings()
    heads: dict[str, list[str]] = {}
    with without_collecting(), as_at_one_moment() as connection, remembered_values(connection):
        driver = DriverRows(connection)
        expected = Expected(driver)
        entries = Entries(driver, found, heads)
        for entry in entries.read():
            found.n_entries += 1
            body = entries.check(entry)
            chain, n, act, by, recorded_at, kind, thing, *_ = entry
            try:
                expected.take((chain, n, act, by, recorded_at), kind, thing, body)
            except LookupError:
                found.faults.append(f"{_place(entry)}: no kind of entry is called '{kind}'.")
        _check_heads(heads, found)
        _check_seals(heads, found)
        if rows:
            expected.fold()
            found.n_rows, faults = check_rows(expected)
            found.faults += faults
            found.beside = look_beside()
            found.faults += [fault for look in found.beside for fault in look.faults]
    return found


def _place(entry: tuple[Any, ...]) -> str:
    return f"{entry[0]}, entry {entry[1]}"


class Entries:
    """Every entry, chain by chain; `heads` is filled with the hashes of each chain's entries."""

    def __init__(self, driver: DriverRows, found: Findings, heads: dict[str, list[str]]) -> None:
        self.driver, self.found, self.heads = driver, found, heads
        self.last_ids: dict[str, int] = {}
        recorded_at = column_of(Entry, "recorded_at")
        self.instant = cache(lambda form: plain(driver.value(recorded_at, form)))
        self.id_text = cache(driver.id_text)
        self.decode = json.JSONDecoder().raw_decode

    def read(self) -> Iterator[tuple[Any, ...]]:
        """The entries' columns in the driver's form."""
        for chunk in self.driver.chunks(Entry, COLUMNS, order=("chain", "n")):
            yield from chunk

    def check(self, entry: tuple[Any, ...]) -> dict[str, Any]:
        """Hash, link, number and copies of an entry; returns its body, empty where its text cannot be read.

        An entry whose text begins and ends as its columns and the entry before it ask, and hashes to its
        hash, needs no other look but at its body.
        """
        chain, n, act, by, recorded_at, kind, thing, format_, text, its_hash, written = entry
        if written <= self.last_ids.get(chain, 0):
            self.found.faults.append(f"{_place(entry)}: it stands before an entry that it follows.")
        self.last_ids[chain] = written
        before = self.heads.setdefault(chain, [])
        prev = before[-1] if before else GENESIS
        number = len(before) + 1
        before.append(its_hash)
        head, tail = entry_frame(
            act=self.id_text(act),
            by=self.id_text(by),
            chain=chain,
            format=format_,
            kind=kind,
            n=number,
            prev=prev,
            recorded_at=self.instant(recorded_at),
        )
        if n == number and text.startswith(head) and text.endswith(tail) and sha256(text) == its_hash:
            try:
                body, end = self.decode(text, len(head))
            except ValueError:
                return self._told(entry, number, prev)
            is_whole = end == len(text) - len(tail) and isinstance(body, dict)
            if is_whole and body.get("id") == self.driver.id_text(thing):
                return dict(body)
        return self._told(entry, number, prev)

    def _told(self, entry: tuple[Any, ...], number: int, prev: str) -> dict[str, Any]:
        """The same looked at part by part, each that is wrong told."""
        chain, n, act, by, recorded_at, kind, thing, format_, text, its_hash, _ = entry
        faults, place = self.found.faults, _place(entry)
        if n != number:
            faults.append(f"{place}: entry {number} should come here; one is missing or was put in.")
        if sha256(text) != its_hash:
            faults.append(f"{place}: its text does not give its hash; the text or the hash was changed.")
        try:
            said = json.loads(text)
            body = said["body"]
            of = body.get("id")
        except (ValueError, KeyError, TypeError, AttributeError):
            faults.append(f"{place}: its text cannot be read.")
            return {}
        if said.get("prev") != prev:
            faults.append(f"{place}: it does not follow the entry before it.")
        copies = {
            "chain": chain,
            "n": n,
            "act": self.id_text(act),
            "kind": kind,
            "by": self.id_text(by),
            "format": format_,
            "recorded_at": self.instant(recorded_at),
        }
        for name, copy in copies.items():
            if said.get(name) != copy:
                faults.append(f"{place}: the column {name} says '{copy}', the text '{said.get(name)}'.")
        if of != self.driver.id_text(thing):
            faults.append(f"{place}: the column thing differs from the text.")
        return dict(body)


def _check_heads(heads: dict[str, list[str]], found: Findings) -> None:
    for chain in Chain.objects.order_by("id"):
        found.n_chains += 1
        hashes = heads.get(chain.id, [])
        if chain.n != len(hashes) or chain.head != (hashes[-1] if hashes else GENESIS):
            found.faults.append(
                f"{chain.id}: its head says {chain.n} entries; {len(hashes)} that end so are there."
            )
        if chain.retired_by is not None:
            found.faults.append(f"{chain.id}: it is said to be retired, and no act retires a chain.")
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
