"""Questions about values that the answer to another question may dissolve: not asked beside it."""

from collections.abc import Iterable, Mapping, Sequence
from uuid import UUID

from fleet.importing.answers import Answers
from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from inspections.importing import answers
from inspections.importing.clearances import Facts, check_values
from inspections.importing.lines import Line, visit_key
from inspections.importing.remarks import NAMES_WORK, Surroundings


def works_asked_about(
    asked: Iterable[Finding],
    rows: Mapping[int, ParsedRow],
    placed: Mapping[int, UUID],
    around: Surroundings,
    given: Answers,
) -> list[Line]:
    """The works that remarks tell of and nobody has answered yet, as if they had been done."""
    works = []
    for finding in asked:
        if finding.code != NAMES_WORK or not finding.is_sure:
            continue
        kind, _, position = finding.about.partition("|")
        for number in finding.touched:
            row = rows[number]
            idents = (answers.ident(NAMES_WORK, row), answers.wide_ident(NAMES_WORK, row))
            if any(given.of(NAMES_WORK, finding.about, ident) for ident in idents):
                continue
            of_pump = around.bearings(row)
            for bearing in (
                [of_pump[position]] if position in of_pump else [] if position else of_pump.values()
            ):
                day = row.values["date"].first.toordinal()
                works.append(Line(bearing, visit_key(row, placed[number]), day, 1, 0, kind, row=row))
    return works


def asked_in_any_case(
    found: Sequence[Finding],
    works: Sequence[Line],
    lines: Mapping[UUID, Sequence[Line]],
    facts: Mapping[UUID, Facts],
) -> list[Finding]:
    """The questions about values that stand even where those works were done."""
    if not works or not found:
        return list(found)
    there = {bearing: list(some) for bearing, some in lines.items()}
    for work in works:
        if work.bearing in there:
            there[work.bearing].append(work)
    stand = {(finding.number, finding.code) for finding in check_values(there, facts)}
    return [finding for finding in found if (finding.number, finding.code) in stand]
