"""Each number and word of the trade has one home, and everything else reads it there."""

import re
from dataclasses import fields

import pytest

from fleet.end_words import END_WORDS
from inspections.bundle import tables
from inspections.models import reading_columns
from inspections.records.facts import ReadingFact
from inspections.story.observations import Measurement
from tests.conftest import CHECKOUT
from tests.test_house import APPS, short, sources

# What is written: how it looks, where it may stand. A script without network that holds a copy has a test of
# its own.
HOMES = {
    "method of measuring": (
        r"""["'](plastic_strip|lead_wire|lift_check|bore_gauge|crown_thickness|depth_gauge)["']""",
        {"fleet/measuring_methods.py"},
    ),
    "normal quantile": (
        r"\b(1\.28(1[56]\d*)?|1\.64(5|48\d*)|2\.96[78]\d*)\b",
        {"inspections/wear/normal.py", "inspections/static/inspections/verdict.js"},
    ),
    "device's database": (r"indexedDB\.open|createObjectStore", {"fleet/static/fleet/device_store.js"}),
    "hash of canonical text": (r"\brfc8785\.dumps", {"fleet/ledger/canonical.py"}),
    "words for an end": (
        r"""[=:(,\[{?] ?["'](pump|outer) end["']""",
        {"fleet/end_words.py", "inspections/static/inspections/contact_reader.js"},
    ),
    # The wear model's own and the script's are held to these by tests of their own.
    "factors of slips of the pen": (
        r"\b39\.37\b|\b1 / 2\.54\b",
        {
            "fleet/slip_factors.py",
            "inspections/wear/slips.py",
            "inspections/static/inspections/verdict.js",
        },
    ),
    "range in per mille of the journal": (r"= PerMille\(", {"fleet/per_mille.py"}),
    "month of a day in words": (r"%[bB]\b", {"fleet/units.py"}),  # which reads them
    "usual days between outages": (r"\b548(\.0)?\b", {"inspections/wear/arrays.py"}),
}


def written(pattern: str) -> set[str]:
    """The files of the product, migrations apart, in which a pattern stands."""
    return {
        short(path)
        for path in sources(".py", ".js", ".html")
        if short(path).startswith(tuple(f"{app}/" for app in APPS))
        and "/migrations/" not in short(path)
        and re.search(pattern, path.read_text("utf-8"))
    }


@pytest.mark.parametrize("what", HOMES)
def test_it_stands_in_its_home_and_nowhere_else(what):
    pattern, homes = HOMES[what]
    assert written(pattern) == homes, f"read the {what} from its home"


def test_the_device_calls_the_ends_as_the_site_does():
    script = (CHECKOUT / "inspections/static/inspections/contact_reader.js").read_text("utf-8")
    words = re.findall(r'\b(?:pump|outer)_end: "([^"]+)"', script)
    assert words == [END_WORDS["in"], END_WORDS["out"]]


def test_a_readings_fields_are_listed_once_and_every_door_has_them():
    columns = set(reading_columns())
    plain = {column.removesuffix("_id") for column in columns}
    typed = {field.name.removesuffix("_id") for field in fields(ReadingFact)}
    assert plain - typed == {"row", "sheet"} - typed, "a fact can say each of them; the sheet is the act's"
    assert set(Measurement.COLUMNS) - {"pk"} <= columns
    assert plain - {column.removesuffix("_id") for column in tables.TIES} <= set(tables.READINGS)
    assert len(set(tables.READINGS)) == len(tables.READINGS)
