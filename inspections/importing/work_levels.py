"""Works held against the clearance before and after them: new metal that lowered nothing, a scrape that
lowered it.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from uuid import UUID

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from inspections.importing.clearances import OTHER_METHOD_SD_UM, Facts
from inspections.importing.lines import Line
from inspections.models import EventKind, Reason
from inspections.story.effect_of_work import NEW_BASELINE, NEW_LIFE, effect_of

DROP_SD = 2.0  # beyond so many standard uncertainties of the difference a clearance has fallen
# New metal for these reasons need not lower a clearance: what came out was not worn.
_NOT_WORN = frozenset({Reason.PRECAUTION, Reason.OTHER_WORK, Reason.DAMAGED})


def works_against_levels(
    lines: Mapping[UUID, Sequence[Line]], facts: Mapping[UUID, Facts]
) -> Iterator[Finding]:
    """Questions about works that the readings as found and as left of their own visit speak against."""
    for bearing, some in lines.items():
        visits: dict[object, list[Line]] = defaultdict(list)
        for line in some:
            visits[line.visit].append(line)
        side = facts.get(bearing, Facts()).load_side
        for visit in visits.values():
            yield from _of_visit(visit, side)


def _of_visit(lines: Sequence[Line], load_side: str) -> Iterator[Finding]:
    drop = _drop(lines)
    if drop is None:
        return
    fall, sd = drop
    effects = [(line, effect_of(line.kind, line.half, load_side)) for line in lines if line.phase == 1]
    lowers = any(effect in (NEW_LIFE, NEW_BASELINE) for _, effect in effects)
    for line, effect in effects:
        if line.row is None or not line.is_new:
            continue
        if (
            effect == NEW_LIFE
            and fall <= _least_fall(line.row, sd)
            and line.row.get("reason") not in _NOT_WORN
        ):
            expected = "a clearance as left well below the one as found, as new metal gives"
            yield _asked(line, "work_without_drop", expected, fall)
        elif line.kind == EventKind.SCRAPE and fall > DROP_SD * sd and not lowers:
            expected = "a clearance as left no smaller than as found: scraping takes metal off"
            yield _asked(line, "scrape_with_drop", expected, fall)


def _least_fall(row: ParsedRow, sd: float) -> float:
    """The fall that new metal must go beyond, um: a shell named by its serial was held in the hand, so only
    no fall at all speaks against it; a work told in words alone must show beyond what the readings could do
    by themselves.
    """
    return 0.0 if row.get("shell") else DROP_SD * sd


def _drop(lines: Sequence[Line]) -> tuple[float, float] | None:
    """How far the clearance fell from as found to as left, um, and the standard uncertainty of that; None
    without both.
    """
    found, left = (
        [line for line in lines if line.phase == phase and line.vertical and line.middle is not None]
        for phase in (0, 2)
    )
    if not found or not left:
        return None
    before, after = (sum(line.middle or 0.0 for line in some) / len(some) for some in (found, left))
    sd = math.hypot(min(line.sd for line in found), min(line.sd for line in left))
    if not {line.method for line in found} & {line.method for line in left}:
        sd = math.hypot(sd, OTHER_METHOD_SD_UM)
    return before - after, sd


def _asked(line: Line, code: str, expected: str, fall: float) -> Finding:
    assert line.row is not None
    change = f"{abs(fall):.0f} µm {'less' if fall > 0 else 'more'} as left than as found"
    remedy = "say which work was done; check both readings and the bearing they are of"
    return line.row.question(
        "event", expected, remedy, code, found=f"a {line.kind.replace('_', ' ')} with {change}"
    )
