"""Byte-mutated copies of the ugly sheets read, planned and applied: no crash, no value changed in silence, within 10 s and 300 MB.

python -m tests.bench.import_mutated [--n 1000] [--first 0]
"""

import argparse
import random
import resource
import time
from dataclasses import replace

from fleet.importing.plans.applying import apply
from fleet.importing.plans.guessing import guess
from fleet.importing.plans.layout import grid_of
from fleet.importing.plans.marks import marks_of, sentences
from fleet.sheets import SheetFault, Tab, read_sheet
from tests.imports import bringing

MOST_SECONDS, MOST_BYTES = 10.0, 300_000_000


def mutated(data: bytes, rng: random.Random) -> bytes:
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


def cells(tabs: list[Tab]) -> dict[tuple[str, int, int], str]:
    return {
        (t.name, r.number, j): c
        for t in tabs
        for r in t.all_rows()
        for j, c in enumerate(r.cells)
        if c.strip()
    }


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--n", type=int, default=1000)
    options.add_argument("--first", type=int, default=0)
    given = options.parse_args()
    sheets = [(truth["sheet"], bringing.bytes_of(truth)) for truth in map(bringing.truth_of, bringing.TRUTHS)]
    plain = {name: cells(read_sheet(data, name).tabs) for name, data in sheets}
    refused = same = other = 0
    worst = 0.0
    for number in range(given.first, given.first + given.n):
        name, data = sheets[number % len(sheets)]
        bad = mutated(data, random.Random(number))
        began = time.perf_counter()
        try:
            tabs = read_sheet(bad, name).tabs
        except SheetFault:
            refused += 1
        else:
            found = cells(tabs)
            same, other = same + (found == plain[name]), other + (found != plain[name])
            if name.endswith(".xlsx") and found != plain[name]:
                print(
                    f"copy {number} of {name}: a workbook whose parts no longer match was read with other cells"
                )
            plan = guess(tabs, lambda tag: len(tag) > 4)
            applied = apply(replace(plan, basis="diametral"), tabs)
            for made in applied.made:  # a made value is a cell's own text, never another
                if "value" in made.columns and made.cells.get("unit") != "mm" and "value" in made.cells:
                    grid = next(grid_of(tab) for tab in tabs if tab.name == made.tab)
                    text = grid.text(made.row, made.columns["value"])
                    assert made.cells["value"].strip("-") in text.replace(" ", "") or made.question, (
                        number,
                        made,
                    )
            list(sentences(marks_of(bad)))
        worst = max(worst, time.perf_counter() - began)
    children, own = (
        resource.getrusage(who).ru_maxrss * 1024 for who in (resource.RUSAGE_CHILDREN, resource.RUSAGE_SELF)
    )
    print(
        f"{given.n} copies: {refused} refused with a sentence, {same} read as before, {other} read with other text, 0 crashes"
    )
    print(
        f"slowest {worst:.2f} s; this process {own / 1e6:.0f} MB, its readers {children / 1e6:.0f} MB at most"
    )
    assert worst < MOST_SECONDS and max(children, own) < MOST_BYTES


if __name__ == "__main__":
    main()
