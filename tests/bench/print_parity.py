"""Prints read by the reader that a device carries and by the one of the site: outcome, numbers and words.

    python -m tests.bench.print_parity --n 5000

Prints on both grids, in pairs of one visit, with facts told, left out and unusual. Also prints how long a
print takes on the server, by the clock.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from inspections.contact.check import Check
from inspections.contact.criteria import Criteria
from inspections.contact.reader import prepare, read_print
from inspections.contact.shared_table import TABLE
from tests.page_scripts import PageScripts

from .trial_press import draw, pressed

SCRIPTS = ("contact_facts.js", "contact_library.js", "contact_outcome.js")
BATCH = 100
PLANT = Criteria(author="plant", min_arc_deg=60, max_arc_deg=100, min_coverage=0.8)
KINDS = (
    "good",
    "run in",
    "tilt",
    "skew",
    "side",
    "hollow bore",
    "proud bore",
    "one spot",
    "spots",
    "spot at one end",
    "pinched",
    "thick dye",
    "tight",
    "large",
    "uneven dye",
    "run in with a spot",
    "bore under size",
    "taper",
)
Rng = np.random.Generator
Apart = tuple[int, str, Any, Any]


def device_reader() -> PageScripts:
    """The device's reader, and nothing else of its pages."""
    scripts = PageScripts(*SCRIPTS)
    scripts.evaluate("(table) => { globalThis.print = contactPrint(table); }", TABLE)
    return scripts


def facts_of_every_kind(rng: Rng) -> dict[str, Any]:
    """What is told, or not told, besides what a press's own trial says."""
    facts: dict[str, Any] = {}
    for share, name, values in (
        (0.2, "in_place", (None, False)),
        (0.3, "scrapeable", ("", "no")),
        (0.2, "state", ("", "new", "run_in")),
        (0.15, "film", ("",)),
        (0.15, "clearance_um", (None,)),
        (0.1, "journal_mm", (None,)),
        (0.3, "first_side", ("left", "right")),
        (0.1, "half", ("upper",)),
        (0.05, "seat", ("spherical",)),
        (0.1, "turned_deg", (12.0, 45.0)),
        (0.1, "worn_arc_deg", (40.0, 110.0)),
        (0.1, "holes", (((0.5, 36.0, 0.1),), ((0.1, -50.0, 0.2), (0.9, 0.0, 0.05)))),
        (0.1, "film_um", (5.0, 12.5)),
        (0.1, "tolerance_um", (3.0, 12.0)),
        (0.2, "measured_twice", (True,)),
    ):
        if rng.random() < share:
            facts[name] = values[rng.integers(len(values))]
    return facts


def read_in_python(n: int, seed: int) -> tuple[list[Any], list[dict[str, Any]], list[float]]:
    """What the device is given, what Python made of it, and the seconds it took, for n prints in pairs of one
    visit.
    """
    rng = np.random.default_rng(seed)
    given: list[Any] = []
    readings: list[dict[str, Any]] = []
    seconds: list[float] = []
    while len(given) < n:
        trial = draw(str(rng.choice(KINDS)), rng)
        check: Check = replace(trial.check, **facts_of_every_kind(rng))
        criteria, earlier = PLANT if rng.random() < 0.1 else Criteria(), ()
        for _ in range(2):
            cells = pressed(trial, rng)
            begun = time.perf_counter()
            reading = read_print(cells, check, criteria, earlier)
            seconds.append(time.perf_counter() - begun)
            before = [asdict(print_) for print_ in earlier]
            given.append([cells.tolist(), asdict(check), criteria.as_dict(), before])
            readings.append(json.loads(json.dumps(reading.as_dict())))
            earlier = (reading.as_earlier(),)
    return given[:n], readings[:n], seconds[:n]


def alike(ours: Any, theirs: Any) -> bool:
    """Causes by name, within the last thousandth: two engines round a sum on the edge to either side."""
    theirs = dict(theirs)
    return all(abs(chance - theirs[name]) <= 1 for name, chance in ours)


def differing(device: PageScripts, given: list[Any], readings: list[dict[str, Any]]) -> list[Apart]:
    """Every print and field on which the two differ."""
    apart: list[Apart] = []
    for start in range(0, len(given), BATCH):
        theirs = device.evaluate(
            "(prints) => prints.map((one) => print.read(...one))", given[start : start + BATCH]
        )
        for k, (ours, other) in enumerate(zip(readings[start : start + BATCH], theirs, strict=True), start):
            for name in ours:
                if ours[name] != other[name] and not (name == "causes" and alike(ours[name], other[name])):
                    apart.append((k, name, ours[name], other[name]))
    return apart


def report(n: int, seed: int) -> None:
    """How many prints differ, by which rules they went, and how long one takes here."""
    for grid in ((5, 7), (10, 14)):
        prepare(*grid)
    given, readings, seconds = read_in_python(n, seed)
    device = device_reader()
    apart = differing(device, given, readings)
    device.close()
    codes = Counter(one["code"] for one in readings)
    print(
        f"{n} prints, {len({k for k, *_ in apart})} read otherwise on the device; {len(codes)} rules decided"
    )
    for row in apart[:10]:
        print("apart:", *row)
    print("by rule:", ", ".join(f"{code} {count}" for code, count in codes.most_common()))
    for rows, name in ((5, "5 x 7"), (10, "10 x 14")):
        ms = [1000.0 * s for s, one in zip(seconds, given, strict=True) if len(one[0]) == rows]
        if ms:
            print(
                f"{name}: {len(ms)} prints, ms by the clock: median {np.median(ms):.1f}, 95 % "
                f"{np.quantile(ms, 0.95):.1f}, 99 % {np.quantile(ms, 0.99):.1f}"
            )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=5000)
    parser.add_argument("--first", type=int, default=640_517)
    asked = parser.parse_args()
    report(asked.n, asked.first)
