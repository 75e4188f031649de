"""Mutated copies of the ugly sheets brought by their plans and answers: no crash, no value changed in
silence, 10 s, 300 MB.

Of a workbook every second copy is changed inside one of its XML parts and zipped anew; every other copy, and
every CSV, is changed in the file's own bytes. Nothing is stored: what would be is held against what an
independent reader (openpyxl, csv) finds in the same cells, and a workbook changed in its bytes must be
refused or read as before.

python -m tests.bench.import_mutated [--n 5000] [--first 0]
"""

import argparse
import csv
import datetime as dt
import io
import os
import random
import re
import resource
import tempfile
import time
import warnings
import zipfile
from collections import Counter
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ.setdefault("PLAIN_HTTP", "yes")
_FOLDER = tempfile.TemporaryDirectory()
os.environ.setdefault("DATABASE_URL", f"sqlite:///{_FOLDER.name}/mutated.sqlite3")
import django

django.setup()

import openpyxl
from django.core.management import call_command

from fleet.importing.answers import Answers
from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.importing.reading_plans.reading_plan import Plan, cell_of
from fleet.sheets.files import read_sheet
from tests import makers
from tests.imports import bringing

MOST_SECONDS, MOST_BYTES = 10.0, 300_000_000
NUMBER = re.compile(r"[0-9]*[.,]?[0-9]+(?:[eE][-+]?[0-9]+)?")
Cells = dict[tuple[str, int, int], object]


@dataclass
class Case:
    """One ugly sheet, its pumps in the register, its plan and answers."""

    name: str
    data: bytes
    site: str
    plan: Plan
    answers: Answers
    plain: list[tuple]


@dataclass
class Tally:
    """What became of the copies."""

    counts: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest: float = 0.0
    n_values: int = 0


def flipped(data: bytes, rng: random.Random) -> bytes:
    """One to four bytes changed, put in, cut out, or a stretch doubled."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(out))
        kind = rng.randrange(4)
        if kind == 0:
            out[at] = rng.randrange(256)
        elif kind == 1:
            out[at:at] = bytes([rng.randrange(256)])
        elif kind == 2:
            del out[at : at + rng.randint(1, 20)]
        else:
            out[at:at] = out[at : at + rng.randint(1, 200)]
        if not out:
            out = bytearray(b"x")
    return bytes(out)


def rezipped(data: bytes, rng: random.Random) -> bytes:
    """The workbook with one XML part changed and every checksum right again."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        parts = [
            one
            for one in old.namelist()
            if re.search(r"worksheets/|sharedStrings|workbook\.xml$|styles", one)
        ]
        chosen = rng.choice(parts)
        for name in old.namelist():
            body = old.read(name)
            new.writestr(name, flipped(body, rng) if name == chosen else body)
    return out.getvalue()


def look(case: Case, data: bytes, set_aside: str = "a mutated copy") -> Result:
    """What would be stored of a copy."""
    return import_file(
        data,
        case.name,
        holds="history",
        by=makers.somebody(),
        plan=case.plan,
        answers=case.answers,
        options=Options(site=case.site, set_aside=set_aside),
        only_look=True,
    )


def told(result: Result) -> list[tuple]:
    """What would be stored, comparable."""
    return [
        (row.sheet_row, row.source.tab if row.source else "", sorted(row.typed.items()))
        for row in result.rows
    ]


def cases() -> list[Case]:
    """Every sheet with its register."""
    call_command("migrate", verbosity=0)
    found = []
    for name in bringing.TRUTHS:
        truth = bringing.truth_of(name)
        site = bringing.the_pumps(truth, makers.a_site(name=f"Works of {name}"))
        data = bringing.bytes_of(truth)
        plan = bringing.the_plan(truth, read_sheet(data, truth["sheet"]).tabs)
        case = Case(truth["sheet"], data, site.name, plan, Answers(), [])
        for _ in range(4):  # an answer may bring a further question to light
            for key, said in bringing.the_answers(truth, look(case, data, "")):
                case.answers.add_said(key, said)
        case.plain = told(look(case, data))
        assert case.plain, name
        found.append(case)
    return found


def independent(data: bytes, name: str) -> Cells | None:
    """The cells by another reader; None where it cannot read the file."""
    try:
        if name.endswith(".csv"):
            text = data.decode("utf-8-sig")
            mark = max(",;\t", key=text.split("\n", 1)[0].count)
            reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
            cells: Cells = {}
            number = 1
            for row in reader:
                cells |= {("", number, j): cell for j, cell in enumerate(row) if cell.strip()}
                number = reader.line_num + 1
            return cells
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
        return {
            (tab.title, cell.row, cell.column - 1): cell.value
            for tab in book.worksheets
            for row in tab.iter_rows()
            for cell in row
            if cell.value is not None
        }
    except Exception:
        return None


def numbers_in(value: object) -> set[Decimal]:
    """The numbers that may be read from a cell; a date's day and month where one was swallowed."""
    if isinstance(value, dt.date):
        return {Decimal(value.day), Decimal(value.month), Decimal(value.year)}
    if isinstance(value, (int, float)):
        return {round(Decimal(repr(value)), 9)}
    found = set()
    for text in NUMBER.findall(str(value).replace("\u00a0", "").replace(" ", "")):
        try:
            found.add(round(Decimal(text.replace(",", ".")), 9))
        except InvalidOperation:
            continue
    return found | {number / 100 for number in found}


def strange(case: Case, result: Result, cells: Cells, tally: Tally) -> list[str]:
    """Values and hours that would be stored and stand in no such cell by the other reader.

    Where that reader finds no cell at all (it passes over tabs whose namespace is damaged) the unchanged
    sheet must hold the same there.
    """
    said = []
    before = {(tab, number, item) for number, tab, items in case.plain for item in items}
    for row in result.rows:
        for name in ("value", "run_hours"):
            ref = row.source.columns.get(name, "") if row.source else ""
            at = cell_of(f"{ref.partition(' ')[0]}1")
            if at is None or name not in row.typed:
                continue
            cell = cells.get((row.source.tab, row.source.row, at[1]))
            mine = {round(Decimal(t.replace(",", ".")), 9) for t in NUMBER.findall(row.typed[name])}
            if cell is None and (row.source.tab, row.source.row, (name, row.typed[name])) in before:
                tally.counts["values only this reader found, as in the unchanged sheet"] += 1
            elif not mine <= numbers_in(cell):
                said.append(f"{row.source.tab} row {row.source.row} {ref}: {row.typed[name]!r} of {cell!r}")
    return said


def one_copy(case: Case, number: int, tally: Tally) -> None:
    """Make a copy, look at it, and hold what would be stored against the other reader."""
    rng = random.Random(number)
    is_book = case.name.endswith(".xlsx")
    inside = is_book and number // 14 % 2 == 1
    bad = rezipped(case.data, rng) if inside else flipped(case.data, rng)
    began = time.perf_counter()
    try:
        result = look(case, bad)
    except Exception as error:  # what this bench is for
        tally.wrong.append(f"copy {number} of {case.name}: crash {error!r}")
        return
    tally.slowest = max(tally.slowest, time.perf_counter() - began)
    now = told(result)
    if result.faults and not result.rows:
        tally.counts["refused with sentences"] += 1
        return
    tally.counts["read as before" if now == case.plain else "read with other cells"] += 1
    if is_book and not inside and now != case.plain:
        tally.wrong.append(f"copy {number} of {case.name}: bytes changed and read with other cells")
    cells = independent(bad, case.name)
    if cells is None:
        tally.counts["of these, nothing by the other reader"] += 1
        if now != case.plain:
            tally.counts["of these, with other cells"] += 1
        return
    tally.n_values += sum("value" in row.typed or "run_hours" in row.typed for row in result.rows)
    tally.wrong += [f"copy {number} of {case.name}: {one}" for one in strange(case, result, cells, tally)]


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--n", type=int, default=5000)
    options.add_argument("--first", type=int, default=0)
    given = options.parse_args()
    all_cases, tally = cases(), Tally()
    for number in range(given.first, given.first + given.n):
        one_copy(all_cases[number % len(all_cases)], number, tally)
    for line in tally.wrong[:40]:
        print(line)
    peak = [
        resource.getrusage(who).ru_maxrss * 1024 / 1e6
        for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    ]
    print(f"{given.n} copies: " + ", ".join(f"{n} {what}" for what, n in tally.counts.most_common()))
    print(
        f"{tally.n_values} values and hours held against the other reader; {len(tally.wrong)} crashes or"
        " silent changes"
    )
    print(
        f"slowest {tally.slowest:.2f} s; this process {peak[0]:.0f} MB, its readers {peak[1]:.0f} MB at most"
    )
    assert not tally.wrong and tally.slowest < MOST_SECONDS and max(peak) * 1e6 < MOST_BYTES


if __name__ == "__main__":
    main()
