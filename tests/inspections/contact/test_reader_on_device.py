"""The reader of contact prints that a device carries against the one of the site: the same facts, outcome,
numbers and words.
"""

import json
import os
from dataclasses import asdict, replace

import numpy as np
import pytest

from inspections.contact.check import Check
from inspections.contact.criteria import Criteria
from inspections.contact.library import uniform
from inspections.contact.reader import read_print
from inspections.contact.shared_table import TABLE
from inspections.models import EFFECTS
from inspections.visits.forms import ContactForm
from inspections.visits.shell_now import Measured, ShellRecord, facts_now
from tests.bench.trial_press import draw, pressed
from tests.page_scripts import PageScripts

SCRIPTS = ("contact_facts.js", "contact_library.js", "contact_reader.js", "contact_outcome.js")
BATCH = 100
PLANT = Criteria(author="plant", min_arc_deg=60, max_arc_deg=100, min_coverage=0.8)


@pytest.fixture(scope="module")
def reader():
    """The device's reader, and nothing else of its pages."""
    scripts = PageScripts(*SCRIPTS)
    scripts.evaluate(
        "(table) => { window.print = contactPrint(contactReader(table, ContactLibrary)); }", TABLE
    )
    yield scripts
    scripts.close()


def facts_of_every_kind(rng):
    """What is told, or not told, besides what a press's own trial says."""
    facts = {}
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


def read_in_python(n, seed):
    """(what the browser is given, what Python made of it) for n prints, in pairs of one visit."""
    rng = np.random.default_rng(seed)
    kinds = (
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
    given, readings = [], []
    while len(given) < n:
        trial = draw(str(rng.choice(kinds)), rng)
        check = replace(trial.check, **facts_of_every_kind(rng))
        criteria, earlier = PLANT if rng.random() < 0.1 else Criteria(), ()
        for _ in range(2):
            cells = pressed(trial, rng)
            reading = read_print(cells, check, criteria, earlier)
            given.append(
                [cells.tolist(), asdict(check), criteria.as_dict(), [asdict(print_) for print_ in earlier]]
            )
            readings.append(json.loads(json.dumps(reading.as_dict())))
            earlier = (reading.as_earlier(),)
    return given[:n], readings[:n]


def alike(ours, theirs):
    """Causes by name, within the last thousandth: two engines round a sum on the edge to either side."""
    theirs = dict(theirs)
    return all(abs(chance - theirs[name]) <= 1 for name, chance in ours)


def differing(reader, n, seed):
    """Every print and field on which the two differ."""
    given, readings = read_in_python(n, seed)
    apart = []
    for start in range(0, n, BATCH):
        theirs = reader.evaluate(
            "(prints) => prints.map((one) => window.print.read(...one))", given[start : start + BATCH]
        )
        for k, (ours, other) in enumerate(zip(readings[start : start + BATCH], theirs, strict=True), start):
            for field in ours:
                if ours[field] != other[field] and not (
                    field == "causes" and alike(ours[field], other[field])
                ):
                    apart.append((k, field, ours[field], other[field]))
    return apart, readings


def test_the_counter_hash_is_the_same_to_the_bit(reader):
    places = [(0, 0, 0), (6, 2999, 41), (17, 1799, 63), (8, 65_535, 9)]
    theirs = reader.evaluate("(places) => places.map((p) => ContactLibrary.uniform(...p))", places)
    assert theirs == [float(uniform(*place)) for place in places]


def test_outcome_numbers_and_words_are_the_same(reader):
    apart, readings = differing(reader, 100, 5)
    assert apart == []
    assert len({reading["code"] for reading in readings}) >= 12, (
        "the prints lead to too few rules to prove anything"
    )


def test_many_prints_have_the_same_outcome_numbers_and_words(reader):
    """600 in the suite; `PRINTS=5000 pytest tests/inspections/contact/test_reader_on_device.py` for all that
    docs/benchmarks.md names.
    """
    apart, readings = differing(reader, int(os.environ.get("PRINTS", "600")), 640_517)
    assert apart == []
    assert len({reading["code"] for reading in readings}) >= 20


def test_a_print_tapped_otherwise_is_told_apart(reader):
    # The comparison itself must be able to fail.
    cells = [[0] * 7, [2, 1, 0, 0, 0, 0, 0], [2, 2, 1, 0, 0, 0, 0], [2, 1, 0, 0, 0, 0, 0], [0] * 7]
    check = Check(in_place=True, clearance_um=150, film="normal")
    theirs = reader.evaluate(
        "([cells, check]) => window.print.read(cells, check)", [cells[::-1], asdict(check)]
    )
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
            "([cells, check]) => window.print.read(cells, check)", [cells.tolist(), asdict(check)]
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
        "([cases, effects]) => cases.map((one) => ContactFacts.now(...one, effects))", [given, EFFECTS]
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
    assert reader.evaluate("(fields) => ContactFacts.taken(fields)", fields) == form.facts()
