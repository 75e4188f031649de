"""A plant's own sheet changed in meaning, read by the plan and answers of the sheet as it was: is the change
asked or shown?

A kind is `tellable` where the sheet itself, or what is drawn of it, can give the change away.
"""

import csv
import datetime as dt
import io
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal

from fleet.importing.answers import Answers
from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.reading_plan import Plan
from fleet.models import Site
from fleet.sheets.files import read_sheet
from inspections.importing.drawn_bearings import drawn_bearings
from inspections.importing.drawn_meters import METER
from inspections.story.uncertainty import spreads
from tests import makers

N_PUMPS, N_VISITS = 12, 5
FIRST_LOOKED_AT = 10
APART_MM = 0.056
HEADING = ["pump", "date", "hrs run", "DE as found", "NDE as found", "remarks"]
PUMP, DATE, HOURS, DE, NDE, REMARK = range(6)
Rows = list[list[str]]
Fact = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class Mutation:
    """What was done to a copy, and the copy."""

    kind: str
    title: str
    rows: Rows
    heading: tuple[str, ...] = tuple(HEADING)


@dataclass(frozen=True)
class Case:
    """A sheet as it was, with the plan and the answers by which it is read."""

    rows: Rows
    plan: Plan
    answers: Answers
    site: str
    facts: frozenset[Fact]


TITLE = "Clearances in mm, diametral"


def sheet_rows(rng: random.Random) -> Rows:
    """Visits of a dozen pumps, both ends measured; scrapes and new shells where the clearance shows them."""
    rows = []
    for n in range(N_PUMPS):
        clearance = [0.150 + 0.02 * rng.random(), 0.150 + 0.02 * rng.random()]
        hours, year = rng.randint(2_000, 9_000), rng.randint(1998, 2004)
        for _ in range(N_VISITS):
            day = dt.date(year, rng.randint(1, 12), rng.randint(1, 28))
            remark = "ok"
            typed = [f"{one:.3f}" for one in clearance]
            if clearance[0] > 0.20 and rng.random() < 0.5:
                remark, clearance[0] = "DE new brgs", 0.150
            elif rng.random() < 0.2:
                remark, clearance[1] = "NDE scraped in", clearance[1] + 0.02
            rows.append([f"P-{n + 10}", f"{day:%d/%m/%Y}", str(hours), *typed, remark])
            gap = rng.randint(2, 4)
            year, hours = year + gap, hours + gap * rng.randint(4_500, 6_500)
            clearance = [one + gap * 0.006 * (0.7 + 0.6 * rng.random()) for one in clearance]
    return rows


def bytes_of(title: str, heading: tuple[str, ...], rows: Rows) -> bytes:
    """The sheet as a CSV."""
    out = io.StringIO()
    csv.writer(out).writerows([[title], list(heading), *rows])
    return out.getvalue().encode()


def case_of(rng: random.Random, site: Site) -> Case:
    """A sheet read for the first time: its plan, and an answer to everything it asks."""
    rows = sheet_rows(rng)
    data = bytes_of(TITLE, tuple(HEADING), rows)
    plan = guess(read_sheet(data, "h.csv").tabs)
    plan = replace(plan, unit="mm", basis="diametral", method="feeler", date_format="DD/MM/YYYY")
    assert not plan.complaints(), plan.complaints()
    answers = Answers()
    for _ in range(5):
        result = _look(data, plan, answers, site.name)
        assert not result.faults, [one.line() for one in result.faults]
        if not result.groups:
            break
        for group in result.groups:
            choice = {"remark_names_work": "yes", "stage_unclear": "as_found"}.get(group.code, "right")
            answers.add(group.code, group.about, choice, "", [row.ident for row in group.rows])
    assert not result.groups, [one.words for one in result.groups]
    return Case(rows, plan, answers, site.name, facts_of(result))


def works(rng: random.Random) -> Site:
    """The pumps of the sheet in the register, with journals and without limits."""
    site = makers.a_site(name=f"Works {rng.random()}")
    for n in range(N_PUMPS):
        place = makers.a_place(site=site, tag=f"P-{n + 10}", positions=("DE", "NDE"))
        for position in ("DE", "NDE"):
            makers.a_bearing(place=place, position=position, limits={})
    return site


def _look(data: bytes, plan: Plan, answers: Answers, site: str) -> Result:
    given = Answers({key: list(said) for key, said in answers})
    return import_file(
        data,
        "h.csv",
        holds="history",
        by=makers.somebody(),
        plan=plan,
        answers=given,
        options=Options(site=site),
        only_look=True,
    )


def facts_of(result: Result) -> frozenset[Fact]:
    """What would be stored: pump, position, day, what, and how much."""
    found = set()
    for row in result.rows:
        position = result.directory.name_of(row.bearing) if row.bearing else ""
        amount = row.get("run_hours") if row.get("event") == "hours" else row.get("value")
        measured = getattr(amount, "value", amount)
        number = f"{Decimal(measured).normalize():f} {row.get('unit', '')}" if measured is not None else ""
        found.add((row.typed["pump"], position, f"{row.values['date'].first}", row.get("event"), number))
    return frozenset(found)


# what is done to a copy ------------------------------------------------------------------------------------


def _copied(rows: Rows) -> Rows:
    return [list(row) for row in rows]


def _times(text: str, factor: float) -> str:
    return f"{float(text) * factor:.4g}"


def title_unit(rng: random.Random, rows: Rows) -> Mutation:
    unit = rng.choice(["1/100 mm", "thou", "\u00b5m", "inches"])
    return Mutation("another unit in the title", f"Clearances in {unit}, diametral", rows)


def title_basis(rng: random.Random, rows: Rows) -> Mutation:
    return Mutation("radial in the title", f"{rng.choice(['Radial clearances', 'Radialspiel'])} in mm", rows)


def heading_unit(rng: random.Random, rows: Rows) -> Mutation:
    heading = list(HEADING)
    column = rng.choice([DE, NDE])
    heading[column] += f" ({rng.choice(['thou', 'in', '1/100 mm'])})"
    return Mutation("another unit in a heading", TITLE, rows, tuple(heading))


def factor_in_column(rng: random.Random, rows: Rows) -> Mutation:
    column, factor = rng.choice([DE, NDE]), rng.choice([2, 0.5, 25.4, 1 / 25.4, 1000, 0.001, 10])
    new = _copied(rows)
    for row in new:
        row[column] = _times(row[column], factor)
    return Mutation("a factor in one column", TITLE, new)


def factor_at_pump(rng: random.Random, rows: Rows) -> Mutation:
    column, factor = rng.choice([DE, NDE]), rng.choice([2, 0.5, 25.4, 1 / 25.4, 1000, 0.001, 10])
    tag, new = rng.choice(rows)[PUMP], _copied(rows)
    for row in new:
        if row[PUMP] == tag:
            row[column] = _times(row[column], factor)
    return Mutation("a factor at one bearing", TITLE, new)


def factor_in_cell(rng: random.Random, rows: Rows) -> Mutation:
    column, factor = rng.choice([DE, NDE]), rng.choice([2, 0.5, 25.4, 1000, 0.001, 10, 0.1])
    new = _copied(rows)
    row = rng.choice(new)
    row[column] = _times(row[column], factor)
    return Mutation("a factor in one cell", TITLE, new)


def decimal_marks(rng: random.Random, rows: Rows) -> Mutation:
    new, column = _copied(rows), rng.choice([DE, NDE])
    for row in new:
        row[column] = row[column].replace(".", ",")
    return Mutation("another decimal mark", TITLE, new)


def grouping_marks(rng: random.Random, rows: Rows) -> Mutation:
    new, mark = _copied(rows), rng.choice([".", ","])
    for row in new:
        row[HOURS] = f"{int(row[HOURS]):,}".replace(",", mark)
    return Mutation("marks that part thousands", TITLE, new)


def factor_in_hours(rng: random.Random, rows: Rows) -> Mutation:
    new, factor = _copied(rows), rng.choice([1000, 0.001, 25.4, 10])
    for row in new:
        row[HOURS] = f"{int(row[HOURS]) * factor:.0f}"
    return Mutation("a factor in the hours", TITLE, new)


def factor_in_hours_of_a_pump(rng: random.Random, rows: Rows) -> Mutation:
    new, factor = _copied(rows), rng.choice([1000, 0.001, 0.01, 0.1, 10])
    tag = rng.choice(rows)[PUMP]
    for row in new:
        if row[PUMP] == tag:
            row[HOURS] = f"{int(row[HOURS]) * factor:.0f}"
    return Mutation("a factor in the hours of one pump", TITLE, new)


def only_hours_of_a_pump(rng: random.Random, rows: Rows) -> Mutation:
    """Of one pump a single entry of hours is there, a thousand times too large or too small."""
    new, factor = _copied(rows), rng.choice([1000, 0.001])
    tag = rng.choice(rows)[PUMP]
    of_pump = [row for row in new if row[PUMP] == tag]
    for row in of_pump[:-1]:
        row[HOURS] = ""
    of_pump[-1][HOURS] = f"{int(of_pump[-1][HOURS]) * factor:.0f}"
    return Mutation("a factor in the only hours of one pump", TITLE, new)


def hours_swapped_once(rng: random.Random, rows: Rows) -> Mutation:
    """The hours of two pumps changed about in one visit of each, where they differ by more than two years'
    running.
    """
    new = _copied(rows)
    first = rng.choice(new)
    others = [
        row for row in new if row[PUMP] != first[PUMP] and abs(int(row[HOURS]) - int(first[HOURS])) > 17_532
    ]
    second = rng.choice(others)
    first[HOURS], second[HOURS] = second[HOURS], first[HOURS]
    return Mutation("the hours of two pumps changed about once", TITLE, new)


def work_moved(rng: random.Random, rows: Rows) -> Mutation:
    new = _copied(rows)
    told = [row for row in new if row[REMARK] != "ok"]
    if not told:
        return title_unit(rng, rows)
    row = rng.choice(told)
    end, _, rest = row[REMARK].partition(" ")
    row[REMARK] = f"{'NDE' if end == 'DE' else 'DE'} {rest}"
    return Mutation("a work moved to the other end", TITLE, new)


def date_order(rng: random.Random, rows: Rows) -> Mutation:
    new = _copied(rows)
    for row in new:
        day, month, year = row[DATE].split("/")
        row[DATE] = f"{month}/{day}/{year}"
    return Mutation("another order of day and month", TITLE, new)


def ends_swapped_once(rng: random.Random, rows: Rows) -> Mutation:
    """Of the visits whose ends differ by more than two standard deviations of two readings: closer ones read
    as scatter.
    """
    new = _copied(rows)
    apart = [row for row in new if abs(float(row[DE]) - float(row[NDE])) > APART_MM]
    if not apart:
        return title_unit(rng, rows)
    row = rng.choice(apart)
    row[DE], row[NDE] = row[NDE], row[DE]
    return Mutation("ends swapped in one visit", TITLE, new)


def ends_swapped_throughout(rng: random.Random, rows: Rows) -> Mutation:
    new = [[*row[:DE], row[NDE], row[DE], row[REMARK]] for row in rows]
    return Mutation("ends swapped throughout", TITLE, new)


def early_days_swapped(rng: random.Random, rows: Rows) -> Mutation:
    new = _copied(rows)
    for row in new:
        day, month, year = row[DATE].split("/")
        if int(day) < 13:
            row[DATE] = f"{month}/{day}/{year}"
    return Mutation("days under 13 in a swapped order", TITLE, new)


def hours_doubled(rng: random.Random, rows: Rows) -> Mutation:
    new = _copied(rows)
    for row in new:
        row[HOURS] = str(int(row[HOURS]) // 2)
    return Mutation("every meter halved", TITLE, new)


Kind = Callable[[random.Random, Rows], Mutation]
TELLABLE: tuple[Kind, ...] = (
    title_unit,
    title_basis,
    heading_unit,
    factor_in_column,
    factor_at_pump,
    factor_in_cell,
    decimal_marks,
    grouping_marks,
    factor_in_hours,
    factor_in_hours_of_a_pump,
    only_hours_of_a_pump,
    hours_swapped_once,
    work_moved,
    date_order,
    ends_swapped_once,
)
# Nothing in the sheet could tell these: a person who knows the pumps has to see them.
UNTELLABLE: tuple[Kind, ...] = (ends_swapped_throughout, early_days_swapped, hours_doubled)


# what becomes of it ----------------------------------------------------------------------------------------


def outcome(case: Case, mutation: Mutation) -> str:
    """`asked`, `refused`, `same` (nothing else would be stored), `drawn first`, or `unseen`."""
    data = bytes_of(mutation.title, mutation.heading, mutation.rows)
    result = _look(data, case.plan, case.answers, case.site)
    if result.faults:
        return "refused"
    if result.questions:
        return "asked"
    facts = facts_of(result) ^ case.facts
    if not facts:
        return "same"
    changed = {(tag, METER if event == "hours" else position) for tag, position, _, event, _ in facts}
    made = drawn_bearings(result.rows, result.directory, spreads(makers.THE_DAY))
    first = {(drawn.tag, drawn.position) for drawn in made[:FIRST_LOOKED_AT] if drawn.reasons}
    pumps = {tag for tag, position in changed if not position}
    seen = any(drawn in changed or (drawn[0] in pumps and drawn[1] != METER) for drawn in first)
    return "drawn first" if seen else "unseen"
