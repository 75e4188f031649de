"""Every kind of tampering with a bundle, in every file and every column, is found; what only an outside seal
finds is not called sound.
"""

import contextlib
import csv
import io
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.management import call_command

from inspections.bundle import tables, verify
from inspections.records.corrections import correct_reading, withdraw
from tests import makers

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("pango")]
TABLES = {
    "readings.csv": tables.READINGS,
    "events.csv": tables.EVENTS,
    "limits.csv": tables.LIMITS,
    "story.csv": tables.STORY,
    "people.csv": tables.PEOPLE,
}


@pytest.fixture
def bundle(tmp_path):
    """A bundle of a bearing with corrected and withdrawn rows, a photo and a gauge; a seal of before and one
    of behind it.
    """
    bearing = makers.a_bearing(place=makers.a_place(site=makers.a_site(name="Own site"), tag="Lift 1"))
    wrong = makers.a_reading(bearing=bearing, value="0.150", unit="mm", method="bore_gauge", instrument="G-7")
    makers.a_reading(bearing=bearing, value="0.165", unit="mm", stage="as_left")
    correct_reading(reading=wrong, by=makers.somebody(), reason="typed wrong", value="0.155")
    makers.an_event(bearing=bearing, kind="scrape")
    withdraw(row=makers.an_event(bearing=bearing, kind="oil"), by=makers.somebody(), reason="another pump")
    makers.a_photo(bearing=bearing)
    call_command("seal", out=tmp_path / "before.json", stdout=io.StringIO())
    folder = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=folder, stdout=io.StringIO())
    call_command("seal", out=tmp_path / "behind.json", stdout=io.StringIO())
    return folder


def checked(folder: Path, *seals: Path | str) -> tuple[int, str]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = verify.main([str(folder), *(word for seal in seals for word in ("--seal", str(seal)))])
    return code, out.getvalue()


def listed_anew(folder: Path) -> None:
    """What somebody does who changes a file and makes the list of files anew."""
    files = {
        path.relative_to(folder).as_posix(): verify.sha256(path.read_bytes())
        for path in folder.rglob("*")
        if path.is_file() and path.name != "files.json"
    }
    (folder / "files.json").write_text(verify.canonical(files))


def bound_anew(folder: Path) -> None:
    """What somebody does who can write everywhere: the bundle's entry, the seal and the list, made anew to
    fit.
    """
    rows = [json.loads(line) for line in (folder / "entries.jsonl").read_text("utf-8").splitlines()]
    paper = json.loads((folder / "seal.json").read_text())
    about = json.loads((folder / "about.json").read_text())
    last = next(row for row in reversed(rows) if row["chain"] == f"bearing:{about['bearing']}")
    said = json.loads(last["text"])
    for name in said["body"]["files"]:
        said["body"]["files"][name] = verify.sha256((folder / name).read_bytes())
    last["text"] = verify.canonical(said)
    last["hash"] = verify.sha256(last["text"])
    leaves = [one["leaf"] for one in paper["leaves"]]
    for leaf in leaves:
        leaf["head"] = last["hash"] if leaf["chain"] == last["chain"] else leaf["head"]
    assert len(leaves) == 2
    hashes = [verify.leaf_hash(leaf) for leaf in leaves]
    seal = json.loads(paper["seal"]) | {"root": verify.tree_root(hashes).hex(), "chains": 2}
    text = verify.canonical(seal)
    proven = [{"leaf": leaf, "index": n, "path": [hashes[1 - n].hex()]} for n, leaf in enumerate(leaves)]
    paper = {"seal": text, "hash": verify.sha256(text), "size": 2, "leaves": proven}
    (folder / "seal.json").write_text(verify.canonical(paper))
    (folder / "entries.jsonl").write_text("".join(verify.canonical(row) + "\n" for row in rows), "utf-8")
    listed_anew(folder)


def cells(path: Path) -> list[list[str]]:
    return list(csv.reader(io.StringIO(path.read_text("utf-8"), newline="")))


def written(path: Path, rows: list[list[str]]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    path.write_text(out.getvalue(), "utf-8", newline="")


def _cell(row: int, column: int) -> Callable[[list[list[str]]], None]:
    def change(rows: list[list[str]]) -> None:
        rows[row][column] = "9" if rows[row][column] != "9" else "8"

    return change


def _table_kinds(name: str, rows: list[list[str]]) -> Iterator[tuple[str, Callable[[list[list[str]]], None]]]:
    """Ways to change a table: each column in one of its rows, its headings, its rows."""
    for column, heading in enumerate(rows[0]):
        yield f"{heading} in a row", _cell(1 + column % (len(rows) - 1), column)
        yield f"heading {heading}", _cell(0, column)
    yield "a column taken out", lambda rows: [row.pop(1) for row in rows] and None
    yield "a row taken out", lambda rows: rows.pop(1) and None
    yield "the last row taken out", lambda rows: rows.pop() and None
    yield "a row doubled", lambda rows: rows.insert(2, list(rows[1]))
    yield "a row put in", lambda rows: rows.append(["1"] * len(rows[0]))
    yield "rows in another order", lambda rows: rows.insert(1, rows.pop())
    yield "a column put in", lambda rows: [row.append("") for row in rows] and None


def _json_kinds(value, at=()):
    """Every leaf of a JSON value, by the way to it."""
    if isinstance(value, dict | list) and value:
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _json_kinds(inner, (*at, key))
    else:
        yield at


def _changed(value, at):
    if not at:
        return "x" if isinstance(value, str) and value != "x" else 987654321
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[at[0]] = _changed(value[at[0]], at[1:])
    return copy


def _alterations(folder: Path) -> Iterator[tuple[str, Callable[[Path], None]]]:
    """Every alteration: its words, and what makes it in a copy of the bundle."""
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        name = path.relative_to(folder).as_posix()
        data = path.read_bytes()
        at = len(data) // 2
        flipped = data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]
        yield f"{name}, byte {at}", lambda copy, name=name, new=flipped: _put(copy, name, new)
        yield f"{name} cut short", lambda copy, name=name, new=data[:-2]: _put(copy, name, new)
        yield f"{name} made longer", lambda copy, name=name, new=data + b"\n": _put(copy, name, new)
        yield f"{name} emptied", lambda copy, name=name: _put(copy, name, b"")
        yield f"{name} taken out", lambda copy, name=name: (copy / name).unlink()
        yield f"{name} doubled", lambda copy, name=name, new=data: _put(copy, f"{name}.copy", new)
        yield f"{name} under another name", lambda copy, name=name: (copy / name).rename(copy / f"{name}x")
    yield "a stray file", lambda copy: _put(copy, "extra.txt", b"put in")
    yield "a stray attachment", lambda copy: _put(copy, "attachments/extra.png", b"put in")
    yield "a stray folder", lambda copy: (copy / "more").mkdir()
    yield "a link", lambda copy: (copy / "link").symlink_to(copy / "verify.py")
    for name in TABLES:
        rows = cells(folder / name)
        for words, change in _table_kinds(name, rows):
            yield f"{name}: {words}", lambda copy, name=name, change=change: _in_table(copy / name, change)
    for name in ("about.json", "seal.json", "forecast.json"):
        value = json.loads((folder / name).read_text())
        for at in _json_kinds(value):
            new = verify.canonical(_changed(value, at)).encode()
            yield f"{name}: {'/'.join(map(str, at))}", lambda copy, name=name, new=new: _put(copy, name, new)
        more = value | {"more": "1"} if isinstance(value, dict) else [*value, "1"]
        new = verify.canonical(more).encode()
        yield f"{name}: something put in", lambda copy, name=name, new=new: _put(copy, name, new)
    yield from _entry_kinds((folder / "entries.jsonl").read_text("utf-8").splitlines())


def _entry_kinds(lines: list[str]) -> Iterator[tuple[str, Callable[[Path], None]]]:
    def put(new: list[str]) -> Callable[[Path], None]:
        return lambda copy: _put(copy, "entries.jsonl", "".join(f"{line}\n" for line in new).encode())

    seen = set()
    for n, line in enumerate(lines):
        row = json.loads(line)
        said = json.loads(row["text"])
        if said["kind"] in seen:
            continue
        seen.add(said["kind"])
        yield f"entry {n} taken out", put(lines[:n] + lines[n + 1 :])
        yield f"entry {n} doubled", put([*lines[: n + 1], *lines[n:]])
        if n:
            yield (
                f"entries {n - 1} and {n} swapped",
                put([*lines[: n - 1], line, lines[n - 1], *lines[n + 1 :]]),
            )
        yield (
            f"entry {n} said to be quoted or not",
            put([*lines[:n], verify.canonical(row | {"quoted": "quoted" not in row}), *lines[n + 1 :]]),
        )
        ways = list(_json_kinds(said))
        for at in ways if said["kind"] in ("reading", "instrument") else (ways[0], ways[-1]):
            text = verify.canonical(_changed(said, at))
            new = verify.canonical(row | {"text": text, "hash": verify.sha256(text)})
            yield f"entry {n}: {'/'.join(map(str, at))}", put([*lines[:n], new, *lines[n + 1 :]])


def _put(copy: Path, name: str, data: bytes) -> None:
    (copy / name).write_bytes(data)


def _put_back(folder: Path, kept: dict[Path, bytes]) -> None:
    for path in list(folder.rglob("*")):
        if path not in kept and path.name != "attachments":
            path.rmdir() if path.is_dir() and not path.is_symlink() else path.unlink()
    for path, data in kept.items():
        if not path.exists() or path.read_bytes() != data:
            path.write_bytes(data)


def _in_table(path: Path, change: Callable[[list[list[str]]], None]) -> None:
    rows = cells(path)
    change(rows)
    written(path, rows)


def test_the_checker_makes_every_column_of_the_tables_anew():
    for name, headings in TABLES.items():
        if name in ("readings.csv", "events.csv", "limits.csv"):
            assert tuple(verify.TABLES[name.removesuffix(".csv")] + verify.BESIDE) == headings
    assert set(verify.BY_HASH) == {"gauge_doubt", "uncertainty_um"}


@pytest.mark.sqlite  # of the bundle's files alone: no database is asked
def test_whatever_is_altered_in_any_file_and_any_column_is_found_and_named(bundle):
    assert checked(bundle)[0] == 0
    kept = {path: path.read_bytes() for path in bundle.rglob("*") if path.is_file()}
    passed, tried = [], 0
    for words, alter in list(_alterations(bundle)):
        tried += 1
        alter(bundle)
        if (bundle / "files.json").exists() and "files.json" not in words:
            listed_anew(bundle)
        if checked(bundle)[0] == 0:
            passed.append(words)
        _put_back(bundle, kept)
    assert not passed, f"{len(passed)} of {tried}: {passed[:20]}"
    assert tried > 400


def test_an_altered_cell_is_named_with_what_its_entry_says(bundle):
    _in_table(bundle / "readings.csv", _cell(1, tables.READINGS.index("note")))
    _in_table(bundle / "limits.csv", _cell(1, tables.LIMITS.index("value_um")))
    listed_anew(bundle)
    code, words = checked(bundle)
    assert code == 1
    assert "readings.csv, row 2: note says '9', its entry ''" in words
    assert "limits.csv, row 2: value_um says '9', its entry" in words
    assert "readings.csv: it is not the file that the bundle's entry binds" in words


@pytest.mark.sqlite
def test_tables_forged_with_entry_and_seal_made_anew_still_differ_from_their_entries(bundle):
    for name in ("readings.csv", "events.csv", "limits.csv"):
        kept = (bundle / name).read_bytes()
        for words, change in _table_kinds(name, cells(bundle / name)):
            if any(heading in words for heading in verify.BY_HASH):
                continue
            _in_table(bundle / name, change)
            bound_anew(bundle)
            assert checked(bundle)[0] == 1, (name, words)
            (bundle / name).write_bytes(kept)


def test_a_report_forged_by_who_can_write_everywhere_is_never_called_sound(bundle, tmp_path):
    own = json.loads((bundle / "seal.json").read_text())["hash"]
    for seal in ("behind.json", "before.json"):
        assert checked(bundle, tmp_path / seal)[0] == 0
    assert checked(bundle, own)[1].count("Sound. Nothing in this bundle") == 1
    (bundle / "report.pdf").write_bytes(b"%PDF-forged")
    bound_anew(bundle)
    code, words = checked(bundle)
    assert code == 0 and "Sound" not in words and "anyone who can write" in words
    code, words = checked(bundle, tmp_path / "before.json")
    assert code == 0 and "Sound." not in words and "as far as the seal" in words
    assert (
        re.search(r"bearing:\S+ up to entry (\d+) of (?!\1)\d+", words) and "report, story, people" in words
    )
    assert checked(bundle, tmp_path / "behind.json")[0] == 1
    assert checked(bundle, own)[0] == 1


def _entries_of_bearing(bundle):
    rows = [json.loads(line) for line in (bundle / "entries.jsonl").read_text("utf-8").splitlines()]
    return max(row["n"] for row in rows if row["chain"] == rows[0]["chain"])


def test_the_seal_of_an_earlier_bundle_is_held_against_a_later_one(bundle, tmp_path):
    again = tmp_path / "again"
    call_command("export_history", "Lift 1", "DE", out=again, stdout=io.StringIO())
    for seal in (bundle, bundle / "seal.json"):
        code, words = checked(again, seal)
        assert code == 0 and "as far as the seal" in words, words
    made_on = json.loads((bundle / "about.json").read_text())["sealed_at"]
    n = _entries_of_bearing(bundle)
    later = _entries_of_bearing(again)
    unchanged = f"up to entry {n} of {later}: nothing was changed or removed since the seal of {made_on}."
    assert later > n and unchanged in words and "What came after that" in words
    assert "is only consistent with itself" in words
    code, words = checked(bundle, again)
    assert code == 0 and "up to entry 0 of" in words and "Sound." not in words, words
    assert ": nothing is shown." in words
    other = json.loads((bundle / "seal.json").read_text())
    for one in other["leaves"]:
        one["leaf"]["head"] = "f" * 64
    hashes = [verify.leaf_hash(one["leaf"]) for one in other["leaves"]]
    for n, one in enumerate(other["leaves"]):
        one |= {"index": n, "path": [hashes[1 - n].hex()]}
    seal = json.loads(other["seal"]) | {"root": verify.tree_root(hashes).hex()}
    other |= {"seal": verify.canonical(seal), "size": 2}
    other["hash"] = verify.sha256(other["seal"])
    (tmp_path / "earlier.json").write_text(json.dumps(other))
    code, words = checked(again, tmp_path / "earlier.json")
    assert code == 1 and "no longer holds what was sealed" in words


def test_a_bundle_of_an_earlier_form_is_left_to_the_checker_in_it(bundle):
    lines = (bundle / "entries.jsonl").read_text("utf-8").splitlines()
    kept = [line for line in lines if '\\"files\\"' not in line]
    assert len(kept) == len(lines) - 1
    (bundle / "entries.jsonl").write_text("\n".join(kept) + "\n", "utf-8")
    code, words = checked(bundle)
    assert code == 2 and "the checker that came in it" in words


def test_what_was_recorded_while_a_bundle_was_made_is_in_it(bundle, tmp_path, monkeypatch):
    from inspections.bundle import archive

    made, plain = [], archive._bound

    def slow(bearing, *more):
        if not made:
            made.append(makers.a_reading(bearing=bearing, value="0.177", unit="mm"))
            return plain(bearing, *more)
        return plain(bearing, *more)

    monkeypatch.setattr(archive, "_bound", slow)
    out = tmp_path / "later"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    assert checked(out)[0] == 0 and "0.177" in (out / "readings.csv").read_text("utf-8")
