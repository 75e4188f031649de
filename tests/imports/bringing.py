"""An ugly sheet brought as its truth says a person would: the guess mended on the page, the questions
answered.
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from fleet.importing.answers import Answers
from fleet.importing.directory import Directory
from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.importing.questions import TOGETHER
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.plan_form import plan_from
from fleet.importing.reading_plans.reading_plan import Plan
from fleet.models import Limit, SetAside, Site
from fleet.sheets.files import Tab, read_sheet
from inspections.models import Event, MeterEntry, Reading
from tests import makers

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "imports"
TRUTHS = sorted(path.name.removesuffix(".truth.json") for path in FOLDER.glob("*.truth.json"))


def truth_of(name: str) -> dict[str, Any]:
    """The hand-written truth of a sheet."""
    return json.loads((FOLDER / f"{name}.truth.json").read_text("utf-8"))


def bytes_of(truth: dict[str, Any]) -> bytes:
    """The sheet."""
    return (FOLDER / truth["sheet"]).read_bytes()


def the_pumps(truth: dict[str, Any], site: Site | None = None) -> Site:
    """The pumps of a sheet in the register, with journals and, unless its truth wants them bare, limits."""
    site = site or makers.a_site(name="Ugly works")
    for tag, positions in truth["pumps"].items():
        place = makers.a_place(site=site, tag=tag, positions=tuple(positions))
        for position in positions:
            makers.a_bearing(place=place, position=position, limits={} if truth.get("bare") else None)
    return site


def the_plan(truth: dict[str, Any], tabs: list[Tab]) -> Plan:
    """The guess, with the fields changed that the truth names."""
    directory = Directory.load()
    left = truth.get("leave", [])
    plan = guess([tab for tab in tabs if tab.name not in left], lambda name: bool(directory.places_of(name)))
    plan = replace(plan, tabs_left=(*plan.tabs_left, *left))
    if not truth["plan"]:
        return plan
    said = {
        "date_format": plan.date_format,
        "unit": plan.unit,
        "decimal": "comma" if plan.decimal_comma else "point",
    }
    where = {"pump": plan.pump, "position": plan.position}
    for name, text in where.items():
        said[name], said[f"{name}-text"] = (
            ("same", text[1:])
            if text.startswith("=")
            else ("cell", text[4:])
            if text.startswith("cell")
            else (text, "")
        )
    mended, complaints = plan_from(said | truth["plan"], plan.tabs_left, plan, tabs)
    assert complaints == []
    return mended


def the_answers(truth: dict[str, Any], result: Result) -> Answers:
    """The truth's answers; one that names a row is for that row alone."""
    answers = Answers()
    for code, about, choice, value, *place in truth["answers"]:
        if code in TOGETHER:  # asked for each bearing; the truth names the work
            for group in result.groups:
                if group.code == code and about in ("", group.about.partition("|")[0]):
                    answers.add(code, group.about, choice, value)
            continue
        rows = None
        if place:
            group = next((g for g in result.groups if (g.code, g.about) == (code, about)), None)
            rows = [row.ident for row in group.rows if place[0] in row.place] if group else []
        answers.add(code, about, choice, value, rows)
    return answers


def bring(truth: dict[str, Any], **more: Any) -> Result:
    """The sheet by its plan and answers: asked, answered, stored."""
    data = bytes_of(truth)
    tabs = read_sheet(data, truth["sheet"]).tabs
    plan = the_plan(truth, tabs)
    assert plan.complaints() == []
    common = {"holds": "history", "by": makers.somebody(), "plan": plan, **more}
    answers = Answers()
    for _ in range(4):  # an answer may bring a further question to light
        asked = import_file(data, truth["sheet"], only_look=True, answers=answers, **common)
        for key, said in the_answers(truth, asked):
            if any("rows" not in one or one["rows"] for one in said):
                answers.add_said(key, said)
        if not asked.groups:
            break
    return import_file(data, truth["sheet"], options=Options(), answers=answers, **common)


# what the record holds, in the truth's own words ------------------------------------------------------------


def _when(row: Any) -> str:
    if row.precision == "day":
        return f"{row.on}"
    if row.precision == "month":
        return f"{row.on:%Y-%m}"
    return f"{row.on:%Y}" if row.precision == "year" else f"{row.on:%Y-%m}..{row.last_on:%Y-%m}"


def _um(row: Reading) -> str:
    if row.value_um is not None:
        return f"{row.value_um.normalize():f}"
    return f"{row.low_um.normalize():f}-{row.high_um.normalize():f}"


def readings() -> list[str]:
    """Every standing reading."""
    rows = Reading.objects.standing().select_related("bearing__place")
    said = [
        "|".join(
            [
                r.bearing.place.tag,
                r.bearing.name,
                _when(r),
                r.stage,
                r.end,
                _um(r),
                r.method,
                "" if r.quantity == "clearance" else r.quantity,
            ]
        ).rstrip("|")
        for r in rows
    ]
    return sorted(said)


def events() -> list[str]:
    """Every standing event."""
    rows = Event.objects.standing().select_related("place", "bearing")
    return sorted(
        "|".join([e.place.tag, e.bearing.name if e.bearing else "", _when(e), e.kind, e.note]) for e in rows
    )


def hours() -> list[str]:
    """Every standing meter entry."""
    rows = MeterEntry.objects.standing().select_related("place")
    return sorted(f"{m.place.tag}|{_when(m)}|{int(m.hours)}" + ("|reset" if m.reset else "") for m in rows)


def limits() -> list[str]:
    """Every standing limit."""
    rows = Limit.objects.standing().select_related("bearing__place")
    return sorted(
        f"{one.bearing.place.tag}|{one.bearing.name}|{one.use}|{one.value_um.normalize():f}" for one in rows
    )


def set_aside() -> list[str]:
    """The words of every row set aside."""
    return sorted(str(row.cells.get("note", row.cells.get("value"))) for row in SetAside.objects.standing())
