"""What an answer would make of the first row it is about, in a few words beside the choice."""

import re
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from fleet.grouping_marks import DECIMAL, GROUPING, MARKS, plain
from fleet.importing.answers import Answers, Choice
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.reading_plans.sheet_days import Days
from fleet.importing.reading_plans.value_notation import SIZES, from_date, number_of, read_value_cell
from fleet.units import UnknownUnit, show_um, to_um


def with_example(code: str, about: str, choice: Choice, row: ParsedRow) -> Choice:
    """The choice with what it would store of a row; units that suit the numbers' size come first."""
    if code == "size" and choice.word == "unit":
        likely = next((units for _, name, units in SIZES if name == about), ())
        choice = replace(choice, offered=tuple(dict.fromkeys([*likely, *choice.offered])))
    told = _TOLD.get(code)
    return replace(choice, example=told(choice.word, row)) if told else choice


def _value(row: ParsedRow) -> str:
    return " ".join(row.typed[name] for name in ("value", "unit") if name in row.typed)


def _two_values(word: str, row: ParsedRow) -> str:
    parts = read_value_cell(row.typed.get("value", ""), 0, two=word, words={})
    if not isinstance(parts, list):
        return ""
    if word == "range":
        return f"between {parts[0].text.replace('-', ' and ')}"
    first, last = parts[0].text, parts[-1].text
    return f"pump side {first}, other end {last}" if word == "ends" else f"{first}, and {last} again"


def _swallowed(word: str, row: ParsedRow) -> str:
    return from_date(row.typed.get("value", ""), word) if word in ("day_month", "month_day") else ""


def _marked(word: str, row: ParsedRow) -> str:
    text = row.typed.get("value", "")
    number = re.search(r"[0-9]*[.,]?[0-9]+", text)
    return f"{number[0]}, with the remark '{text}'" if word == "number" and number else ""


def _odd_word(word: str, row: ParsedRow) -> str:
    return f"'{row.typed.get('value', '')}' kept" if word in ("opened", "remark") else ""


def _size(word: str, row: ParsedRow) -> str:
    """How much the number would be in the plan's unit: absurd sizes show themselves."""
    number = number_of(row.typed.get("value", ""))
    if word != "as_planned" or number is None:
        return ""
    try:
        return f"{_value(row)} is {show_um(to_um(number, row.typed.get('unit', '')), 'um', 1)}"
    except UnknownUnit:
        return ""


def _season(word: str, row: ParsedRow) -> str:
    said = Answers()
    said.add("season", "", word)
    day = Days("", said).read(row.typed.get("date", ""), 0)
    return day.replace("..", " to ") if isinstance(day, str) else ""


def _first_days(word: str, row: ParsedRow) -> str:
    return f"{row.values['date'].first:%Y-%m}" if word == "month" and "date" in row.values else ""


def _hours(word: str, row: ParsedRow) -> str:
    day, hours = row.typed.get("date", ""), row.typed.get("run_hours", "")
    return (
        f"the meter starts at {hours} h on {day}"
        if word == "reset"
        else f"{hours} h of {day} is used for nothing"
        if word == "drop"
        else ""
    )


def _grouping(word: str, row: ParsedRow) -> str:
    """What the first number would be."""
    typed = row.typed.get("run_hours") or row.typed.get("starts", "")
    kinds = {"thousands": GROUPING, "decimal": DECIMAL}
    read = plain(typed, dict.fromkeys(MARKS, kinds[word])) if word in kinds else ""
    return f"'{typed}' is {read}" if isinstance(read, str) and read else ""


def _slow(word: str, row: ParsedRow) -> str:
    hours = row.values.get("run_hours")
    if hours is None:
        return ""
    return {"thousands": f"{hours:f} h is {hours * 1000:.0f} h", "right": f"{hours:f} h stays"}.get(
        word, _hours(word, row)
    )


def _stored(word: str, row: ParsedRow) -> str:
    other = row.values.get("_stored")
    if other is None:
        return ""
    stored = f"{other.typed} {other.unit}"
    return {
        "same": f"{stored} stays",
        "correct": f"{_value(row)} instead of {stored}",
        "second": f"{stored} counts, {_value(row)} stands beside it",
    }.get(word, "")


def _jump(word: str, row: ParsedRow) -> str:
    number = number_of(row.typed.get("value", ""))
    if word == "radial" and number is not None:
        return f"{_value(row)} counts as {number * Decimal(2)} {row.typed.get('unit', '')}"
    if word == "swap":
        return "all readings of that visit change places"
    return f"{_value(row)} stays" if word == "right" else ""


_TOLD: dict[str, Callable[[str, ParsedRow], str]] = {
    "two_values": _two_values,
    "swallowed_date": _swallowed,
    "marked_number": _marked,
    "odd_word": _odd_word,
    "size": _size,
    "season": _season,
    "first_days": _first_days,
    "run_hours_fall": _hours,
    "run_hours_rise": _hours,
    "grouping_mark": _grouping,
    "run_hours_slow": _slow,
    "stored_otherwise": _stored,
    "rounded_otherwise": _stored,
    "jump": _jump,
    "clearance_range": _jump,
    "fall_without_event": _jump,
}
