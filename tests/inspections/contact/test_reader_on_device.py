"""The reader of contact prints that a device carries against the one of the site: the same facts, outcome,
numbers and words.
"""

import json
from dataclasses import asdict

import numpy as np
import pytest

from inspections.contact.check import Check
from inspections.contact.library import uniform
from inspections.contact.reader import read_print
from inspections.models import EFFECTS
from inspections.visits.forms import ContactForm
from inspections.visits.shell_now import Measured, ShellRecord, facts_now
from tests.bench.print_parity import device_reader, differing, read_in_python


@pytest.fixture(scope="module")
def reader():
    scripts = device_reader()
    yield scripts
    scripts.close()


def test_the_counter_hash_is_the_same_to_the_bit(reader):
    places = [(0, 0, 0), (6, 2999, 41), (17, 1799, 63), (8, 65_535, 9)]
    theirs = reader.evaluate("(places) => places.map((p) => uniform(...p))", places)
    assert theirs == [float(uniform(*place)) for place in places]


def test_outcome_numbers_and_words_are_the_same(reader):
    given, readings, _ = read_in_python(100, 5)
    assert differing(reader, given, readings) == []
    assert len({reading["code"] for reading in readings}) >= 12, (
        "the prints lead to too few rules to prove anything"
    )


def test_many_prints_have_the_same_outcome_numbers_and_words(reader):
    """The short form; `python -m tests.bench.print_parity` for all 5 000 that docs/benchmarks.md names."""
    given, readings, _ = read_in_python(600, 640_517)
    assert differing(reader, given, readings) == []
    assert len({reading["code"] for reading in readings}) >= 20


def test_a_print_tapped_otherwise_is_told_apart(reader):
    # The comparison itself must be able to fail.
    cells = [[0] * 7, [2, 1, 0, 0, 0, 0, 0], [2, 2, 1, 0, 0, 0, 0], [2, 1, 0, 0, 0, 0, 0], [0] * 7]
    check = Check(in_place=True, clearance_um=150, film="normal")
    theirs = reader.evaluate("([cells, check]) => print.read(cells, check)", [cells[::-1], asdict(check)])
    assert theirs["causes"][0][0] == "tilt"
    cells[2] = [0] * 7
    assert theirs != json.loads(json.dumps(read_print(cells, check).as_dict()))


def test_odd_and_large_grids_and_far_clearances_are_read_alike(reader):
    rng = np.random.default_rng(9)
    for shape, clearance in (
        ((3, 3), 0.01),
        ((4, 9), 9_000.0),
        ((24, 36), 150.0),
        ((40, 40), 90.0),
        ((15, 7), 300.0),
    ):
        cells = rng.integers(1, 3, shape) * (rng.random(shape) < 0.4)
        check = Check(
            in_place=True, clearance_um=clearance, film="thin", groove=(0.45, 0.55), relief_deg=70.0
        )
        theirs = reader.evaluate(
            "([cells, check]) => print.read(cells, check)", [cells.tolist(), asdict(check)]
        )
        assert theirs == json.loads(json.dumps(read_print(cells, check).as_dict()))


def a_record(rng):
    """What a record may know of a shell, much of it missing."""
    middle = float(rng.uniform(60, 300))
    wide = float(rng.choice([4.0, 20.0, 90.0]))
    known = rng.random() < 0.85
    return ShellRecord(
        seat=str(rng.choice(["", "cylindrical", "spherical"])),
        load_side=str(rng.choice(["bottom", "top"])),
        journal_mm=[None, 120.0][rng.integers(2)],
        scrapeable=str(rng.choice(["", "yes", "no"])),
        low_um=middle - wide if known else None,
        middle_um=middle if known else None,
        high_um=middle + wide if known else None,
        measured_before=bool(rng.random() < 0.7),
        first_fit_um=[None, 130.0][rng.integers(2)],
        step=(12.0, 6.0),
        sd_um={"bore_gauge": 6.0, "lead_wire": 12.5},
    )


def clearances(record, rng):
    """The visit's clearances of it, some of one station twice."""
    near = record.middle_um or 150.0
    return [
        Measured(
            str(rng.choice(["as_found", "as_left"])),
            str(rng.choice(["in-12", "out-12", "mid"])),
            str(rng.choice(["bore_gauge", "lead_wire", "other"])),
            str(rng.choice(["a", "b"])),
            float(np.round(near + rng.normal(0, 15), 1)),
        )
        for _ in range(rng.integers(0, 5))
    ]


def test_a_device_knows_of_a_shell_what_the_site_knows(reader):
    rng = np.random.default_rng(11)
    kinds = [*map(str, EFFECTS)]
    cases = []
    for _ in range(600):
        record = a_record(rng)
        works = [str(kind) for kind in rng.choice(kinds, rng.integers(0, 3))]
        cases.append((record, clearances(record, rng), works))
    given = [[asdict(record), [*map(asdict, rows)], works] for record, rows, works in cases]
    theirs = reader.evaluate(
        "([cases, effects]) => cases.map((one) => now(...one, effects))", [given, EFFECTS]
    )
    ours = [facts_now(*case, EFFECTS) for case in cases]
    assert [
        {k: pytest.approx(v) if isinstance(v, float) else v for k, v in one.items()} for one in ours
    ] == theirs
    assert {one["state"] for one in ours} == {"", "new", "scraped", "run_in"}
    assert {one["measured_twice"] for one in ours} == {True, False}


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"half": "upper", "in_place": "no", "bedded": "yes", "film": "thin", "first_end": "in"},
        {
            "in_place": "yes",
            "bedded": "no",
            "worn_arc_deg": "110.5",
            "turned_deg": "12",
            "first_side": "left",
        },
    ],
)
def test_a_device_takes_a_print_as_its_form_does(reader, fields):
    form = ContactForm(fields)
    assert form.is_valid()
    assert reader.evaluate("(fields) => taken(fields)", fields) == form.facts()
