#!/usr/bin/env python3
"""Check a bearing's bundle with Python's own library alone: python verify.py [FOLDER] [--seal FILE].
Exit 0: sound. 1: altered, with what and where. 2: could not check.

It recomputes: the SHA-256 of every file; the hash, the number and the link of every entry of the bearing's own chain
and its pump's; that the seal holds these chains' heads (RFC 6962, section 2.1.1); and that the tables say what the
entries say. A seal that was kept outside the site (--seal FILE, given again for more) is compared as well: only that
shows that the record was not written anew as a whole. What came after a seal, and what was never entered, no chain
can show.
"""

import argparse
import csv
import hashlib
import json
import os
import sys

GENESIS = "0" * 64
# Headings of the tables whose cells are the fields of the same name of their entries.
READINGS = ("on", "typed", "unit", "value_um", "low_um", "high_um", "stage", "method")
LIMITS = ("use", "value_um", "from_on")
CLAIM = "Nothing in this bundle was changed or removed since the seal of "
CANNOT_SHOW = "What came later, and what was never entered, no chain can show."


class CouldNotCheck(Exception):
    """A file that is not there or cannot be read."""


def sha256(data):
    """SHA-256 of text (UTF-8) or bytes, as 64 hex digits."""
    return hashlib.sha256(data.encode("utf-8") if isinstance(data, str) else data).hexdigest()


def canonical(value):
    """RFC 8785 text of what an entry may hold: no floats, so the standard encoder writes the same text."""
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def leaf_hash(leaf):
    """RFC 6962, section 2.1."""
    return hashlib.sha256(b"\x00" + canonical(leaf).encode("utf-8")).digest()


def node_hash(left, right):
    """RFC 6962, section 2.1."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def tree_root(hashes):
    """RFC 6962, section 2.1: a left part of a full power of two is what pairing level by level gives."""
    level = list(hashes)
    if not level:
        return hashlib.sha256(b"").digest()
    while len(level) > 1:
        paired = [node_hash(level[i], level[i + 1]) for i in range(0, len(level) - 1, 2)]
        level = paired + (level[-1:] if len(level) % 2 else [])
    return level[0]


def root_by_path(leaf, index, size, path):
    """The root that a leaf and its audit path lead to (RFC 9162, section 2.1.3.2); None where the path does not fit."""
    if not 0 <= index < size:
        return None
    at, last, found = index, size - 1, leaf_hash(leaf)
    for step in path:
        if last == 0:
            return None
        if at % 2 or at == last:
            found = node_hash(bytes.fromhex(step), found)
            while not at % 2 and at:
                at, last = at // 2, last // 2
        else:
            found = node_hash(found, bytes.fromhex(step))
        at, last = at // 2, last // 2
    return found if last == 0 else None


def read(folder, name):
    """The bytes of a file of the bundle."""
    try:
        with open(os.path.join(folder, name), "rb") as file:
            return file.read()
    except OSError as trouble:
        raise CouldNotCheck(f"{name} cannot be read: {trouble.strerror}") from None


def read_json(folder, name):
    try:
        return json.loads(read(folder, name).decode("utf-8"))
    except ValueError as trouble:
        raise CouldNotCheck(f"{name} is no JSON: {trouble}") from None


def read_table(folder, name):
    """The rows of a CSV by their headings; a guarding apostrophe before a formula's first sign is taken off."""
    rows = csv.DictReader(read(folder, name).decode("utf-8-sig").splitlines(keepends=True))
    return [{key: unguarded(cell or "") for key, cell in row.items() if key} for row in rows]


def unguarded(cell):
    return (
        cell[1:] if cell[:1] == "'" and cell.lstrip("'")[:1] in "=+-@\t\r\uff1d\uff0b\uff0d\uff20" else cell
    )


def check_files(folder, faults):
    """Every file against the list, and nothing beside it."""
    listed = read_json(folder, "files.json")
    for name in sorted(listed):
        if os.path.isabs(name) or ".." in name.split("/"):
            raise CouldNotCheck(f"files.json names {name!r}, which lies outside the bundle")
        if not os.path.exists(os.path.join(folder, name)):
            faults.append(f"{name}: it is listed and not there.")
        elif sha256(read(folder, name)) != listed[name]:
            faults.append(f"{name}: it was changed since the bundle was made.")
    for base, folders, names in os.walk(folder):
        folders[:] = [one for one in folders if one != "__pycache__"]
        for name in names:
            path = os.path.relpath(os.path.join(base, name), folder).replace(os.sep, "/")
            if path not in listed and path != "files.json":
                faults.append(f"{path}: it is not listed; it was put in later.")
    return len(listed)


def check_entries(folder, faults):
    """Hashes of all entries, numbers and links of the whole chains; gives bodies and heads."""
    bodies, heads, n = {}, {}, 0
    for line in read(folder, "entries.jsonl").decode("utf-8").splitlines():
        n += 1
        try:
            row = json.loads(line)
            place = "{}, entry {}".format(row["chain"], row["n"])
            said = json.loads(row["text"])
        except (ValueError, KeyError, TypeError):
            faults.append(f"entries.jsonl, line {n}: it cannot be read.")
            continue
        check_entry(row, said, place, faults)
        bodies[row["chain"], row["n"]] = (said, row["hash"])
        if row.get("quoted"):
            continue
        before = heads.setdefault(row["chain"], [])
        if row["n"] != len(before) + 1:
            faults.append(f"{place}: entry {len(before) + 1} should come here; one is missing or was put in.")
        if said.get("prev") != (before[-1] if before else GENESIS):
            faults.append(f"{place}: it does not follow the entry before it.")
        before.append(row["hash"])
    return bodies, heads


def check_entry(row, said, place, faults):
    if sha256(row["text"]) != row["hash"]:
        faults.append(f"{place}: its text does not give its hash; the text or the hash was changed.")
    if canonical(said) != row["text"]:
        faults.append(f"{place}: its text is not in canonical form (RFC 8785).")
    if (said.get("chain"), said.get("n")) != (row["chain"], row["n"]):
        faults.append(f"{place}: its text says another place.")


def check_seal(folder, heads, faults):
    """The bundle's own seal: it fits together, and its root holds the head of every whole chain."""
    paper = read_json(folder, "seal.json")
    seal = sealed(paper, "seal.json", faults)
    proven = set()
    for one in paper["leaves"]:
        leaf = one["leaf"]
        proven.add(leaf["chain"])
        hashes = heads.get(leaf["chain"], [])
        if leaf["n"] != len(hashes) or leaf["head"] != (hashes[-1] if hashes else GENESIS):
            faults.append(f"{leaf['chain']}: it does not end as the seal says, at entry {leaf['n']}.")
        root = root_by_path(leaf, one["index"], paper["size"], one["path"])
        if root is None or root.hex() != seal.get("root"):
            faults.append("{}: its end is not under the seal's root.".format(leaf["chain"]))
    for chain in sorted(set(heads) - proven):
        faults.append(f"{chain}: no seal covers it.")
    return seal


def sealed(paper, name, faults):
    if sha256(paper["seal"]) != paper["hash"]:
        faults.append(f"{name}: the seal was changed.")
    return json.loads(paper["seal"])


def check_outside(path, heads, faults):
    """A seal kept outside: it fits together, and the chains still hold what it sealed."""
    name = os.path.basename(path)
    try:
        with open(path, encoding="utf-8") as file:
            paper = json.load(file)
        seal = sealed(paper, name, faults)
        if tree_root([leaf_hash(leaf) for leaf in paper["leaves"]]).hex() != seal["root"]:
            faults.append(f"{name}: its leaves do not give its root.")
    except (OSError, ValueError, KeyError, TypeError) as trouble:
        raise CouldNotCheck(f"{path} is no file of `manage.py seal --out`: {trouble}") from None
    for leaf in paper["leaves"]:
        hashes, n = heads.get(leaf["chain"]), leaf["n"]
        if n and hashes is not None and hashes[n - 1 : n] != [leaf["head"]]:
            faults.append(f"{name}: {leaf['chain']} no longer holds what was sealed at entry {n}.")
    return seal


def check_table(folder, name, columns, bodies, faults):
    """Every row of a table against the entry it names; `columns` are fields of the entry."""
    rows = read_table(folder, name)
    for number, row in enumerate(rows, 2):
        place = f"{name}, row {number}"
        known = bodies.get((row["chain"], int(row["entry"]) if row["entry"].isdigit() else None))
        if known is None:
            faults.append(f"{place}: its entry is not in the bundle.")
            continue
        said, digest = known
        if "hash" in row and row["hash"] != digest:
            faults.append(f"{place}: its hash is not its entry's.")
        for heading in columns:
            value = said["body"].get(heading)
            if row[heading] != ("" if value is None else str(value)):
                faults.append(f"{place}: {heading} says {row[heading]!r}, its entry {value!r}.")
    return len(rows)


def check_missing(folder, bodies, faults):
    """Every reading and limit entry of the whole chains stands in its table."""
    for name, kind in (("readings.csv", "reading"), ("limits.csv", "limit")):
        there = {(row["chain"], row["entry"]) for row in read_table(folder, name)}
        about = read_json(folder, "about.json")["bearing"]
        for (chain, n), (said, _) in bodies.items():
            own = said["kind"] == kind and said["body"].get("bearing_id") == about
            if own and (chain, str(n)) not in there:
                faults.append(f"{name}: {chain}, entry {n} is not in it.")


def check_attachments(folder, bodies, faults):
    """Every photo and document has the SHA-256 that its entry names, and every entry its file."""
    named = {said["body"]["file_id"] for said, _ in bodies.values() if said["kind"] == "attachment"}
    there = os.path.join(folder, "attachments")
    held = {name[:64]: name for name in os.listdir(there)} if os.path.isdir(there) else {}
    for digest, name in sorted(held.items()):
        if digest not in named or sha256(read(there, name)) != digest:
            faults.append(f"attachments/{name}: it is not the file that an entry names.")
    for digest in sorted(named - set(held)):
        faults.append(f"attachments: the file {digest}, named by an entry, is not there.")


def check_relied_on(folder, heads, bodies, faults):
    """The forecast's figures and the entries quoted from other chains have the hashes that stand in the ledger."""
    relied = [said["body"] for said, _ in bodies.values() if said["kind"] == "forecast_relied_on"]
    if sha256(read(folder, "forecast.json")) not in [body.get("figures") for body in relied]:
        faults.append("forecast.json: no entry relies on these figures.")
    quoted = sorted(digest for (chain, _), (_, digest) in bodies.items() if chain not in heads)
    if sha256("".join(quoted)) not in [body.get("quoted") for body in relied]:
        faults.append("entries.jsonl: the entries quoted from other chains are not those that were quoted.")


def check(folder, outside):
    """All checks; gives the faults and sentences on what was read."""
    faults = []
    n_files = check_files(folder, faults)
    bodies, heads = check_entries(folder, faults)
    seal = check_seal(folder, heads, faults)
    for path in outside:
        seal = check_outside(path, heads, faults)
    n_rows = check_table(folder, "readings.csv", READINGS, bodies, faults)
    n_rows += check_table(folder, "limits.csv", LIMITS, bodies, faults)
    n_rows += check_table(folder, "story.csv", (), bodies, faults)
    check_missing(folder, bodies, faults)
    check_attachments(folder, bodies, faults)
    check_relied_on(folder, heads, bodies, faults)
    whole = sum(map(len, heads.values()))
    said = f"{n_files} files, {whole} entries on {len(heads)} whole chains, {len(bodies) - whole} quoted from others"
    return faults, f"{said}, {n_rows} rows of tables.", seal


def main(arguments=None):
    options = argparse.ArgumentParser(description="Check a bundle. 0: sound, 1: altered, 2: could not check.")
    here = os.path.dirname(os.path.abspath(__file__))
    options.add_argument("folder", nargs="?", default=here, help="the unpacked bundle; else this file's own")
    options.add_argument(
        "--seal", action="append", default=[], help="a seal kept outside; may be given again"
    )
    given = options.parse_args(arguments)
    try:
        faults, said, seal = check(given.folder, given.seal)
    except (CouldNotCheck, KeyError, TypeError, ValueError, OSError) as trouble:
        print(f"Could not check: {type(trouble).__name__}: {trouble}")
        return 2
    print(said)
    for fault in faults:
        print(fault)
    if faults:
        print(f"Altered: {len(faults)} faults.")
        return 1
    kept = "" if given.seal else ", if that seal is kept outside too (give it with --seal FILE)"
    print(f"Sound. {CLAIM}{seal['sealed_at']}{kept}. {CANNOT_SHOW}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
