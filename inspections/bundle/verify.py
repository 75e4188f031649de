#!/usr/bin/env python3
"""Check a bearing's bundle with Python's own library alone: python verify.py [FOLDER] [--seal SEAL].
Exit 0: nothing wrong. 1: altered, with what and where. 2: could not check.

It recomputes hash, number and link of every entry of the bearing's own chain and its pumps'; that the seal holds these
chains' heads (RFC 6962, section 2.1.1); that the last entry of the bearing's chain names every other file by its SHA-256;
and the tables of readings, events and limits, cell by cell, from the entries. Without a seal that was kept outside the
site this shows only that the bundle is consistent with itself. With one (--seal, again for more: a file of `manage.py
seal --out`, the seal.json of an earlier bundle or its folder, or the 64 signs of this bundle's seal) it says up to which
entry the record is what was sealed. What came after a seal, and what was never entered, no chain can show.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import json
import os
import re
import sys
from typing import Any

words = str.split
GENESIS = "0" * 64
FORMAT = 3
# These hold the bundle's own entry, or are made behind it: checked by what stands in them, not by a hash in that entry.
UNBOUND = ("about.json", "entries.jsonl", "files.json", "seal.json")
READINGS = words(
    """on last_on precision note job quantity basis end clock stage method instrument step_um typed unit value_um low_um
    high_um repeat counts not_for_wear not_for_wear_because conditions measured_by checked_by uncertainty_um gauge_doubt"""
)
EVENTS = words(
    """on last_on precision place whole_pump kind half shell reason outcome contact_percent note job done_by checked_by
    awaits_second"""
)
LIMITS = words("use quantity value_um typed unit authority document from_on reason")
BESIDE = words(
    """changed changed_on changed_by changed_because changed_entry replaces replaced_by recorded_by recorded_at chain entry"""
)
TABLES = {"readings": READINGS, "events": EVENTS, "limits": LIMITS}
# Worked out by the site from entries of gauges and settings: bound by the table's hash alone.
BY_HASH = ("gauge_doubt", "uncertainty_um")
STORY = words("day kind what who roles rights source recorded_at days_late changed replaces chain entry hash")
# A spreadsheet takes none of these for a formula behind an apostrophe, which the site has put there.
GUARDED = re.compile("'+[=+@\t\r\n\uff1d\uff0b\uff0d\uff20-]")
CLAIM = "Nothing in this bundle was changed or removed since the seal of "
ONLY_ITSELF = "consistent with itself, which anyone who can write could make so"
BEHIND = "What came after that, and report, story, people and quoted entries, is only"
CANNOT_SHOW = "What came later, and what was never entered, no chain can show."


def sha256(data: str | bytes) -> str:
    """SHA-256 of text (UTF-8) or bytes, as 64 hex digits."""
    return hashlib.sha256(data.encode("utf-8") if isinstance(data, str) else data).hexdigest()


def canonical(value: Any) -> str:
    """RFC 8785 text of what an entry may hold: no floats, so the standard encoder writes the same text."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def leaf_hash(leaf: Any) -> bytes:
    return hashlib.sha256(b"\x00" + canonical(leaf).encode("utf-8")).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


def tree_root(hashes: list[bytes]) -> bytes:
    """RFC 6962, section 2.1: a left part of a full power of two is what pairing level by level gives."""
    level = list(hashes) or [hashlib.sha256(b"").digest()]
    while len(level) > 1:
        paired = [node_hash(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
        level = paired + (level[-1:] if len(level) % 2 else [])
    return level[0]


def root_by_path(leaf, index, size, path):
    """The root that a leaf and its audit path lead to (RFC 9162, section 2.1.3.2); None where the path does not fit."""
    at, last, found = index, size - 1, leaf_hash(leaf)
    for step in path:
        if last == 0 or bytes.fromhex(step).hex() != step:
            return None
        if at % 2 or at == last:
            found = node_hash(bytes.fromhex(step), found)
            while not at % 2 and at:
                at, last = at // 2, last // 2
        else:
            found = node_hash(found, bytes.fromhex(step))
        at, last = at // 2, last // 2
    return found if last == 0 and 0 <= index < size else None


def read(folder: str, name: str) -> bytes:
    with open(os.path.join(folder, name), "rb") as file:
        return file.read()


def read_json(folder: str, name: str, tell: Any) -> Any:
    """What a file holds, which has one way only to be written."""
    data = read(folder, name)
    try:
        value = json.loads(data.decode("utf-8"))
    except ValueError as trouble:
        raise ValueError(f"{name} is no JSON: {trouble}") from None
    if canonical(value).encode("utf-8") != data:
        tell(f"{name}: it is not in canonical form (RFC 8785); something was put in or stands twice.")
    return value


def there(folder: str, tell: Any) -> set[str]:
    """The files of a folder by name; what is no plain file, and any folder but that of attachments, is named."""
    found = set()
    for base, folders, names in os.walk(folder):
        for name in [*folders, *names]:
            path = os.path.relpath(os.path.join(base, name), folder).replace(os.sep, "/")
            if os.path.islink(os.path.join(base, name)) or (name in folders and path != "attachments"):
                tell(f"{path}: a link or a folder that does not belong here.")
            elif name in names:
                found.add(path)
    return found


def check_files(folder, files, bound, tell):
    """Every file against the list, and every one that the bundle's entry binds against the hash it holds."""
    hashes = {name: sha256(read(folder, name)) for name in sorted(files)}
    listed = read_json(folder, "files.json", tell)
    for name in sorted(set(listed) | set(bound) | set(UNBOUND) | files):
        if name not in files:
            tell(f"{name}: it is listed and not there.")
        elif name not in bound and name not in UNBOUND:
            tell(f"{name}: it is not listed in the bundle's entry; it was put in later.")
        elif name in bound and hashes[name] != bound[name]:
            tell(f"{name}: it is not the file that the bundle's entry binds; it was changed.")
        elif name != "files.json" and listed.get(name) != hashes[name]:
            tell(f"{name}: files.json lists another hash, or none; it was changed.")


def check_entries(folder, tell):
    """Hashes of all entries, numbers, links and order; gives what each says by its place, and the whole chains."""
    said_at, heads, quoted = {}, {}, []
    text = read(folder, "entries.jsonl").decode("utf-8")
    if not text.endswith("\n"):
        tell("entries.jsonl: its last line is cut off.")
    for number, line in enumerate(text.split("\n")[:-1], 1):
        try:
            row = json.loads(line)
            place = "{}, entry {}".format(row["chain"], row["n"])
            said = json.loads(row["text"])
            key, _ = (row["chain"], row["n"]), said["body"]
        except (ValueError, KeyError, TypeError):
            tell(f"entries.jsonl, line {number}: it cannot be read.")
            continue
        keys = {"chain", "n", "hash", "text", *(["quoted"] if row.get("quoted") is True else [])}
        if canonical(row) != line or set(row) != keys:
            tell(f"entries.jsonl, line {number}: it is not written as the site writes it.")
        if key in said_at:
            tell(f"{place}: it stands twice.")
        said_at[key] = (said, row["hash"])
        is_quoted, begun = "quoted" in row, row["chain"] in heads
        if (begun and row["chain"] != list(heads)[-1]) or (is_quoted and begun) or (quoted and not is_quoted):
            tell(f"{place}: it does not stand in its order.")
        check_entry(row, said, None if is_quoted else heads.setdefault(row["chain"], []), place, tell)
        (quoted if is_quoted else heads[row["chain"]]).append(key if is_quoted else row["hash"])
    if quoted != sorted(quoted) or list(heads)[1:] != sorted(list(heads)[1:]):
        tell("entries.jsonl: chains or quoted entries do not stand in their order.")
    return said_at, heads


def check_entry(row, said, before, place, tell):
    """An entry by itself and, of a whole chain, behind those before it (None: quoted)."""
    if before is not None and row["n"] != len(before) + 1:
        tell(f"{place}: entry {len(before) + 1} should come here; one is missing or was put in.")
    if before is not None and said.get("prev") != (before[-1] if before else GENESIS):
        tell(f"{place}: it does not follow the entry before it.")
    if sha256(row["text"]) != row["hash"]:
        tell(f"{place}: its text does not give its hash; the text or the hash was changed.")
    if canonical(said) != row["text"]:
        tell(f"{place}: its text is not in canonical form (RFC 8785).")
    if (said.get("chain"), said.get("n")) != (row["chain"], row["n"]):
        tell(f"{place}: its text says another place.")


def bundle_entry(said_at, heads):
    """The bundle's own entry: the last of the bearing's chain, which comes first."""
    chain = next(iter(heads), None)
    said = said_at[chain, len(heads[chain])][0] if chain and (chain, len(heads[chain])) in said_at else {}
    if said.get("kind") != "forecast_relied_on" or "files" not in said.get("body", {}):
        raise ValueError(
            "the last entry of the first chain is not that of a bundle: entries are missing, or it is of an earlier "
            "form. Such a one is checked by the checker that came in it"
        )
    return said


def check_about(folder, said, seal, said_at, heads, tell):
    """What the bundle says it is of, from its entry and its seal; the forecast and the entries quoted, by their hashes."""
    body = said["body"]
    meant = dict(body["about"], format=FORMAT, as_of=body["on"], made_by=said["by"])
    meant.update(seal=seal.get("n"), sealed_at=seal.get("sealed_at"))
    about = read_json(folder, "about.json", tell)
    for name in sorted(set(meant) | set(about)):
        if about.get(name) != meant.get(name):
            tell(f"about.json: {name} says {about.get(name)!r}, the entries {meant.get(name)!r}.")
    if next(iter(heads)) != f"bearing:{body['about']['bearing']}":
        tell("entries.jsonl: its first chain is not that of the bearing it is of.")
    if sha256(read(folder, "forecast.json")) != body["figures"]:
        tell("forecast.json: no entry relies on these figures.")
    quoted = sorted(digest for (chain, _), (_, digest) in said_at.items() if chain not in heads)
    if sha256("".join(quoted)) != body["quoted"]:
        tell("entries.jsonl: the entries quoted from other chains are not those that were quoted.")


def sealed(paper, name, tell):
    """The text of a seal's paper, and the leaves that its root holds: all of them, or some by their paths."""
    if sha256(paper["seal"]) != paper["hash"]:
        tell(f"{name}: the seal was changed.")
    seal, leaves = json.loads(paper["seal"]), paper["leaves"]
    if "size" not in paper:
        if tree_root([leaf_hash(leaf) for leaf in leaves]).hex() != seal["root"]:
            tell(f"{name}: its leaves do not give its root.")
        return seal, leaves
    for one in leaves:
        root = root_by_path(one["leaf"], one["index"], paper["size"], one["path"])
        if root is None or root.hex() != seal["root"]:
            tell("{}: the end of {} is not under the seal's root.".format(name, one["leaf"]["chain"]))
    return seal, [one["leaf"] for one in leaves]


def check_seal(folder, heads, tell):
    """The bundle's own seal: it fits together, and its root holds the head of every whole chain."""
    paper = read_json(folder, "seal.json", tell)
    seal, leaves = sealed(paper, "seal.json", tell)
    held = {"seal", "hash", "size", "leaves"}, *({"leaf", "index", "path"} for _ in leaves)
    if [set(paper), *map(set, paper["leaves"])] != list(held) or paper["size"] != seal["chains"]:
        tell("seal.json: it holds more or less than a seal with its paths.")
    if [leaf["chain"] for leaf in leaves] != sorted(heads):
        tell("seal.json: it does not hold each whole chain once, in the order of their names.")
    for leaf in leaves:
        hashes = heads.get(leaf["chain"], [])
        if leaf["n"] != len(hashes) or leaf["head"] != (hashes[-1] if hashes else GENESIS):
            tell(f"{leaf['chain']}: it does not end as the seal says, at entry {leaf['n']}.")
    return seal, paper["hash"]


def check_outside(given, own, heads, tell):
    """A seal kept outside: it fits together, and the chains still hold what it sealed; how far it reaches into each."""
    if re.fullmatch("[0-9a-f]{64}", given):
        if given != own[1]:
            tell(f"seal.json: its hash is {own[1]}, not that of the seal kept outside.")
        return own[0].get("sealed_at"), {chain: len(hashes) for chain, hashes in heads.items()}
    path = os.path.join(given, "seal.json") if os.path.isdir(given) else given
    name = f"the seal given, {os.path.basename(path)}"
    try:
        with open(path, encoding="utf-8") as file:
            paper = json.load(file)
        seal, leaves = sealed(paper, name, tell)
        if seal["n"] == own[0]["n"] and paper["hash"] != own[1]:
            tell(f"seal.json: it is not the seal no. {seal['n']} that was kept outside.")
        reach = {}
        for chain, n, head in ((leaf["chain"], leaf["n"], leaf["head"]) for leaf in leaves):
            came_later = seal["n"] > own[0]["n"] and n > len(heads.get(chain, []))
            if chain in heads and n and not came_later:
                reach[chain] = n
                if heads[chain][n - 1 : n] != [head]:
                    tell(f"{name}: {chain} no longer holds what was sealed at entry {n}.")
        return seal["sealed_at"], reach
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as trouble:
        raise ValueError(f"{given} is no seal: {type(trouble).__name__} {trouble}") from None


def read_table(folder: str, name: str, headings: list[str], tell: Any) -> list[dict[str, str]]:
    """The rows of a CSV; a guarding apostrophe before a formula's first sign is taken off."""
    text = io.StringIO(read(folder, name).decode("utf-8"), newline="")
    rows = [[cell[1:] if GUARDED.match(cell) else cell for cell in row] for row in csv.reader(text)]
    if not rows or rows[0] != headings:
        tell(f"{name}: its headings are not those of this table.")
    fitting = [row for row in rows[1:] if len(row) == len(headings)]
    if len(fitting) < len(rows) - 1:
        tell(f"{name}: a row has more or fewer cells than there are headings.")
    return [{heading: row[at] for at, heading in enumerate(headings)} for row in fitting]


class Record:
    """What the entries say of each thing, changes folded in, in the order of their chains."""

    def __init__(self, said_at, names):
        self.names, self.rows, self.place, self.changes = names, {}, {}, {}
        for (chain, n), (said, _) in said_at.items():
            body = said["body"]
            if said["kind"] not in ("withdrawal", "revision", "import_withdrawal") and body.get("id"):
                self.rows.setdefault((said["kind"], body["id"]), dict(body, _said=said))
                self.place.setdefault(body["id"], f"{chain} {n}")
        for (chain, n), (said, _) in said_at.items():
            for thing, word in changes_of(said["kind"], said["body"]):
                self.rows.get((said["body"].get("of"), thing), {}).update(said["body"].get("set", {}))
                self.changes[thing] = (word, said, f"{chain} {n}")

    def name(self, person: Any) -> Any:
        return self.names.get(person, "someone not known") if person else ""

    def cells(self, row, headings):
        """A row of a table as the entries have it, as text by heading."""
        said, thing = row["_said"], row["id"]
        word, by, entry = self.changes.get(thing, ("", {"body": {}}, ""))
        instead = by["body"].get("instead") or ""
        worked = {
            "instrument": self.rows.get(("instrument", row.get("instrument_id")), {}).get("label"),
            "place": self.rows.get(("place", row.get("place_id")), {}).get("tag"),
            "whole_pump": not row.get("bearing_id"),
            "conditions": ", ".join(sorted(row.get("conditions") or {})),
            "changed": word,
            "changed_on": by.get("recorded_at", "")[:10],
            "changed_by": self.name(by.get("by")),
            "changed_because": by["body"].get("reason"),
            "changed_entry": entry,
            "replaces": self.place.get(row.get("supersedes"), row.get("supersedes")),
            "replaced_by": self.place.get(instead, instead),
            "recorded_by": self.name(said["by"]),
            "recorded_at": said["recorded_at"],
            "chain": said["chain"],
            "entry": said["n"],
        }
        worked.update((who, self.name(row.get(who))) for who in ("measured_by", "checked_by", "done_by"))
        return {name: shown(worked[name] if name in worked else row.get(name)) for name in headings}


def changes_of(kind: str, body: Any) -> list[tuple[str, str]]:
    """Of an entry, the rows it changes and how."""
    if kind == "import_withdrawal":
        return [(row, "withdrawn with its import") for ids in body["kinds"].values() for row in ids]
    word = "joined with another" if body.get("joined") else "moved" if body.get("moved") else "withdrawn"
    word = {"withdrawal": word, "revision": "corrected"}.get(kind, "")
    return [(body["id"], word)] if word else []


def shown(value: Any) -> str:
    if value is None or isinstance(value, bool):
        return {None: "", True: "TRUE", False: "FALSE"}[value]
    return str(value)


def check_table(folder, name, record, bearing, heads, tell):
    """Every row of a table made anew from the entries: each cell, none missing, none twice, in their order."""
    headings, kind = TABLES[name] + BESIDE, name[:-1]
    name += ".csv"
    of = (bearing, None) if kind == "event" else (bearing,)
    rows = [row for key, row in record.rows.items() if key[0] == kind and row.get("bearing_id") in of]
    made = [record.cells(row, headings) for row in rows if row["_said"]["chain"] in heads]
    made.sort(key=lambda row: (row["from_on" if kind == "limit" else "on"], row["chain"], int(row["entry"])))
    meant = {(row["chain"], row["entry"]): row for row in made}
    order = {}
    found = read_table(folder, name, headings, tell)
    for number, row in enumerate(found, 2):
        key = row["chain"], row["entry"]
        if key in order or key not in meant:
            why = "it stands twice" if key in order else "no entry of this table in the bundle is its own"
            tell(f"{name}, row {number}: {why}.")
            continue
        order[key] = number
        for heading, cell in meant[key].items():
            if heading not in BY_HASH and row[heading] != cell:
                tell(f"{name}, row {number}: {heading} says {row[heading]!r}, its entry {cell!r}.")
    for chain, n in sorted(set(meant) - set(order)):
        tell(f"{name}: {chain}, entry {n} is not in it.")
    if list(order) != [key for key in meant if key in order]:
        tell(f"{name}: its rows do not stand in the order of their days and entries.")
    return len(found)


def check_story(folder, said_at, tell):
    """Every row of the story names an entry of the bundle by its hash, each once."""
    seen = set()
    for number, row in enumerate(read_table(folder, "story.csv", STORY, tell), 2):
        key = (row["chain"], int(row["entry"]) if row["entry"].isdigit() else None)
        if key not in said_at or said_at[key][1] != row["hash"]:
            tell(f"story.csv, row {number}: its entry is not in the bundle, or has another hash.")
        elif key in seen:
            tell(f"story.csv, row {number}: it stands twice.")
        seen.add(key)
    return len(seen)


def check_attachments(folder, files, said_at, tell):
    """Every photo and document has the SHA-256 that its entry names, and every entry its file."""
    named = {said["body"]["file_id"] for said, _ in said_at.values() if said["kind"] == "attachment"}
    held = {name: name[12:76] for name in sorted(files) if name.startswith("attachments/")}
    for name, digest in held.items():
        if digest not in named or sha256(read(folder, name)) != digest:
            tell(f"{name}: it is not the file that an entry names.")
    for digest in sorted(named - set(held.values())):
        tell(f"attachments: the file {digest}, named by an entry, is not there.")


def check(folder, outside):
    """All checks; gives the faults, a sentence on what was read, and one on what it shows."""
    faults = []
    tell = faults.append
    files = there(folder, tell)
    said_at, heads = check_entries(folder, tell)
    entry = bundle_entry(said_at, heads)
    check_files(folder, files, entry["body"]["files"], tell)
    seal, digest = check_seal(folder, heads, tell)
    check_about(folder, entry, seal, said_at, heads, tell)
    people = read_table(folder, "people.csv", ["id", "name", "employer"], tell)
    record = Record(said_at, {row["id"]: row["name"] for row in people})
    n_rows = check_story(folder, said_at, tell)
    for name in TABLES:
        n_rows += check_table(folder, name, record, entry["body"]["about"]["bearing"], heads, tell)
    check_attachments(folder, files, said_at, tell)
    witnessed = [check_outside(given, (seal, digest), heads, tell) for given in outside]
    whole = sum(map(len, heads.values()))
    n = f"{len(files)} files, {whole} entries on {len(heads)} whole chains, {len(said_at) - whole} quoted from others"
    return faults, f"{n}, {n_rows} rows of tables.", verdict(witnessed, heads)


def verdict(witnessed, heads):
    """What the seals kept outside show: of those that reach furthest into a chain, the earliest shows most."""
    reach = {name: min([(0, ""), *((-n[name], at) for at, n in witnessed if name in n)]) for name in heads}
    if not any(n for n, _ in reach.values()):
        none = "No seal given reaches into it: give" if witnessed else "Give"
        return f"The bundle is {ONLY_ITSELF}. {none} one kept outside the site: --seal SEAL. {CANNOT_SHOW}"
    if all(-n >= len(heads[chain]) for chain, (n, _) in reach.items()):
        return f"Sound. {CLAIM}{max(at for _, at in reach.values())}, kept outside. {CANNOT_SHOW}"
    parts = ["Sound as far as the seals given, kept outside, reach:"]
    for chain, (n, at) in reach.items():
        shown = f"nothing was changed or removed since the seal of {at}" if n else "nothing is shown"
        parts.append(f"{chain} up to entry {-n} of {len(heads[chain])}: {shown}.")
    return "\n".join([*parts, f"{BEHIND} {ONLY_ITSELF}. {CANNOT_SHOW}"])


def main(arguments=None):
    options = argparse.ArgumentParser(description="Check a bundle: 0 nothing wrong, 1 altered, 2 not checked")
    options.add_argument("folder", nargs="?", default=os.path.dirname(os.path.abspath(__file__)))
    options.add_argument("--seal", action="append", default=[], help="one kept outside; may be given again")
    given = options.parse_args(arguments)
    try:
        faults, said, shows = check(given.folder, given.seal)
    except (KeyError, TypeError, ValueError, AttributeError, OSError) as trouble:
        print(f"Could not check: {type(trouble).__name__}: {trouble}")
        return 2
    print(said, *faults, f"Altered: {len(faults)} faults." if faults else shows, sep="\n")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
