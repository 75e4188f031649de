"""Measurements that remarks tell of: each proposed beside its text, stored only where somebody says that it
is one.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from uuid import UUID

from fleet.importing.answers import Answers, Choice
from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.questions import MEASURED
from fleet.importing.reading_plans.value_notation import number_of, read_value_cell
from fleet.units import parse_measured
from inspections.importing.alike import ask_alike
from inspections.importing.lines import number_um
from inspections.importing.remarks import Surroundings
from inspections.importing.template import PERCENT, READING
from inspections.importing.told_values import CONTACT, ToldValue, told_values
from inspections.models import EventKind

REMARK_CONTACT = "remark_contact"
UNITS = ("mm", "um", "mil", "thou", "in")
KIND_WORDS = {
    "remark_clearance": "remarks that name a clearance",
    "remark_clearance_no_unit": "remarks that name a clearance without its unit",
    "remark_clearance_two": "remarks that name two numbers for a clearance",
    "remark_clearance_two_no_unit": "remarks that name two numbers for a clearance, without their unit",
    REMARK_CONTACT: "remarks that name a contact share",
}
_LEAD = (
    "Each stands beside its text. What you confirm is stored as a reading at the bearing and stage named; the"
    " words stay a note."
)
KIND_LEADS = dict.fromkeys(KIND_WORDS, _LEAD) | {
    REMARK_CONTACT: (
        "Each stands beside its text. What you confirm is stored as a contact check; the words stay a note."
    )
}
NO = Choice("no", "nothing of the kind was measured there: keep the words as they are")
_ONE = (
    Choice("diametral", "each was measured there, diametral"),
    Choice("radial", "each was measured there, radial"),
)
_TWO = (
    Choice("ends_diametral", "the two ends, pump side first; diametral"),
    Choice("range_diametral", "it lies between the two; diametral"),
    Choice("ends_radial", "the two ends, pump side first; radial"),
    Choice("range_radial", "it lies between the two; radial"),
)


def _with_unit(one: Choice) -> Choice:
    return replace(one, label=f"{one.label}; in", needs="the unit", offered=UNITS, only=True)


CHOICES: dict[str, tuple[Choice, ...]] = {
    "remark_clearance": (*_ONE, NO),
    "remark_clearance_no_unit": (*map(_with_unit, _ONE), NO),
    "remark_clearance_two": (*_TWO, NO),
    "remark_clearance_two_no_unit": (*map(_with_unit, _TWO), NO),
    REMARK_CONTACT: (Choice("yes", "each share of the length was found there"), NO),
}
assert frozenset(CHOICES) == MEASURED


def remarks_that_name_values(
    rows: Sequence[ParsedRow], around: Surroundings, answers: Answers, ident: object
) -> Iterator[Finding]:
    """A question for each measurement of each remark at each bearing where it may have been taken.

    Parameters
    ----------
    ident : callable
        code and row to the name by which an answer knows the row.
    """
    measured = _measured(rows, around)
    alike: dict[tuple[str, str, bool, str], list[ParsedRow]] = defaultdict(list)
    for row in rows:
        note = row.get("note")
        if not note or row.already or "_from_remark" in row.values:
            continue
        for value in told_values(note, around.names(row)):
            code = _code(value)
            places, is_sure = _places(value, row, around)
            places = [one for one in places if not _is_there(value, one, row, around, measured)]
            given = [one for one in places if _is_taken(code, about(value, one), row, answers, ident)]
            for position in given if given and not is_sure else places:
                some = alike[code, about(value, position), is_sure, note.casefold()]
                if not some or some[-1] is not row:
                    some.append(row)
    for (code, subject, is_sure, _), some in alike.items():
        yield from _questions(code, subject, is_sure, some)


def _questions(code: str, subject: str, is_sure: bool, some: Sequence[ParsedRow]) -> Iterator[Finding]:
    what = "a contact share" if code == REMARK_CONTACT else "a clearance"
    remedy = f"if {what} was measured there, confirm it or give it a row of its own; if not, say so"
    note = " ".join(some[0].values["note"].split())
    found = f"the remark '{note if len(note) <= 60 else note[:57] + '...'}'"
    for one in ask_alike(some, "note", f"a row for {what}", remedy, code, found=found, about=subject):
        yield replace(one, is_sure=is_sure)


def about(value: ToldValue, position: str) -> str:
    """What a question about a measurement is about."""
    return "|".join((position, value.stage, value.text, value.unit))


def _code(value: ToldValue) -> str:
    if value.what == CONTACT:
        return REMARK_CONTACT
    two, bare = "_two" if value.is_pair else "", "" if value.unit else "_no_unit"
    return f"remark_clearance{two}{bare}"


def _places(value: ToldValue, row: ParsedRow, around: Surroundings) -> tuple[list[str], bool]:
    """Where a measurement may have been taken, and whether the remark or its row says so."""
    known = list(around.bearings(row))
    if value.positions:
        return [one for one in value.positions if one in known], True
    own = row.get("position") if not row.get("_told") else None
    if own:
        return [own], True
    return known, len(known) == 1


def _is_taken(code: str, subject: str, row: ParsedRow, answers: Answers, ident: object) -> bool:
    said = answers.of(code, subject, ident(code, row))  # type: ignore[operator]
    return said is not None and said[0] not in ("no", "aside")


def _measured(rows: Iterable[ParsedRow], around: Surroundings) -> dict[tuple[object, UUID], list[Decimal]]:
    """Visit and bearing to the clearances that rows of their own hold, as typed, in um."""
    found: dict[tuple[object, UUID], list[Decimal]] = defaultdict(list)
    for row in rows:
        told = row.get("value")
        if row.get("event") != READING or not row.bearing or told is None or "_from_remark" in row.values:
            continue
        unit = row.get("unit", PERCENT)
        if unit != PERCENT:
            numbers = [n for n in (told.value, told.low, told.high) if n is not None]
            found[around.visit_of.get(row.number), row.bearing] += [number_um(n, unit) for n in numbers]
    return found


def _is_there(
    value: ToldValue,
    position: str,
    row: ParsedRow,
    around: Surroundings,
    measured: dict[tuple[object, UUID], list[Decimal]],
) -> bool:
    """Whether rows of their own hold all the numbers that a remark repeats."""
    bearing = around.bearings(row).get(position)
    there = measured.get((around.visit_of.get(row.number), bearing), []) if bearing else []
    numbers = [n for part in value.text.split("/") if (n := number_of(part)) is not None]
    if value.what == CONTACT or not there:
        return False
    units = (value.unit,) if value.unit else UNITS
    return any(all(number_um(n, unit) in there for n in numbers) for unit in units)


# what an answer does ---------------------------------------------------------------------------------------


def of_value(
    code: str,
    subject: str,
    choice: str,
    unit: str,
    rows: Sequence[ParsedRow],
    parsed: Parsed,
) -> bool:
    """The measurement that remarks tell of as rows of its own; True where one was made."""
    if choice == NO.word:
        return False
    position, stage, text, own_unit = subject.split("|")
    for row in rows:
        if code == REMARK_CONTACT:
            _add(row, parsed, position, text, PERCENT, event=str(EventKind.CONTACT_CHECK))
            continue
        two, _, basis = choice.rpartition("_")
        said = {"event": READING, "basis": basis} | ({"stage": stage} if stage else {})
        parts = read_value_cell(text, 0, two=two or "range", words={})
        assert isinstance(parts, list)  # a number, or two, as it was told
        for part in parts:
            end = {"station": part.end} if part.end else {}
            _add(row, parsed, position, part.text, own_unit or unit, **said, **end)
    return True


def _add(row: ParsedRow, parsed: Parsed, position: str, text: str, unit: str, **said: str) -> None:
    new = parsed.added(
        row,
        position=position,
        unit=unit,
        value=parse_measured(text),
        _from_remark=True,
        **said,
    )
    new.typed["value"] = text
    new.typed.pop("_from_remark")
    new.content.pop("_from_remark")
