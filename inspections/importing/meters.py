"""Hour meters that fall without a reset, or rise by more hours than the days between have."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from uuid import UUID

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from inspections.importing.template import METER_RESET

# Two people read one meter on two shifts: so small a fall is no reset. Common practice, no published source.
SLACK_HOURS = 24.0
# A meter of a pump in service gives more hours a year than this; fewer are asked about once it was read over
# a year. Judgement, no published source.
FEWEST_HOURS_A_YEAR, LOOKED_AT_DAYS, YEAR = 100.0, 365, 365.25


_REMEDIES = {
    "fall": (
        "if the meter was changed or set back, add a 'meter_reset' row; else correct the hours or leave"
        " them out"
    ),
    "rise": "check the hours and the date",
    "slow": "say whether the mark in them parts thousands, or the pump hardly runs",
}


@dataclass(slots=True)
class Hours:
    """One reading of a place's meter, from the sheet or (without `row`) the record."""

    place: UUID
    day: int
    last_day: int
    hours: float
    reset: bool = False
    before: float | None = None
    row: ParsedRow | None = None


def hours_in(row: ParsedRow, place: UUID) -> Hours | None:
    """The meter's hours that a row holds; None where it holds none or has no day."""
    if "run_hours" not in row.values or "date" not in row.values:
        return None
    day, before = row.values["date"], row.get("run_hours_before")
    reset = row.values.get("event") == METER_RESET
    return Hours(
        place,
        day.first.toordinal(),
        day.last.toordinal(),
        float(row.values["run_hours"]),
        reset,
        float(before) if reset and before is not None else None,
        row,
    )


def check_meters(
    hours: Iterable[Hours], changed: Mapping[UUID, Sequence[int]], standing_by: Collection[UUID] = ()
) -> Iterator[Finding]:
    """Questions about meters.

    Parameters
    ----------
    hours : iterable of Hours
    changed : mapping
        place to the days on which another pump, with another meter, was set down.
    standing_by : collection
        places whose own duty is so small that their meters hardly move.
    """
    by_place: dict[UUID, list[Hours]] = defaultdict(list)
    for one in hours:
        by_place[one.place].append(one)
    for place, some in by_place.items():
        if any(one.row and not one.row.already for one in some):
            for run in runs_of(some, changed.get(place, ())):
                yield from _falls(run)
                if place not in standing_by:
                    yield from _slow(run)


def _slow(run: Sequence[Hours]) -> Iterator[Finding]:
    """A whole stretch of one meter that gives hardly any hours: a mark of thousands taken for a decimal one,
    or another unit.
    """
    first, last = run[0], run[-1]
    days = last.day - first.last_day
    if days < LOOKED_AT_DAYS or not 0 <= last.hours - first.hours < FEWEST_HOURS_A_YEAR * days / YEAR:
        return
    for one in run:
        words = (
            f"at least {FEWEST_HOURS_A_YEAR:g} hours a year, and these are"
            f" {(last.hours - first.hours) / days * YEAR:.3g}"
        )
        yield from _question(one, words, "slow")


def runs_of(some: Sequence[Hours], changed: Sequence[int]) -> Iterator[list[Hours]]:
    """Stretches of one meter between resets and changed pumps, each with the reset's own two figures at its
    ends.
    """
    resets = sorted((one for one in some if one.reset), key=lambda one: one.day)
    breaks = sorted({one.day for one in resets} | set(changed))
    runs: dict[int, list[Hours]] = defaultdict(list)
    for one in some:
        at = bisect_right(breaks, one.day)
        if one.reset:
            runs[at].append(one)
            if one.before is not None:
                runs[at - 1].append(
                    Hours(one.place, one.day, one.day, one.before, row=one.row, before=one.before)
                )
        elif one.day not in breaks:  # on the day itself it may be from before or after
            runs[at].append(one)
    for at in sorted(runs):
        yield sorted(runs[at], key=lambda one: (one.day, one.hours))


def _falls(run: Sequence[Hours]) -> Iterator[Finding]:
    """The fewest entries that must be wrong for the others to rise; and rises of more than 24 hours a day."""
    fits = _longest_rising(run)
    good = [one for one, fit in zip(run, fits, strict=True) if fit]
    after = dict(zip([id(one) for one in good], [*good[1:], None], strict=True)) if good else {}
    before: Hours | None = None
    last: Hours | None = None
    for one, fit in zip(run, fits, strict=True):
        if fit:
            if last and _too_fast(last, one):
                following = after[id(one)]
                odd = one
                # The one before is the odd one where its neighbours agree without it.
                if (
                    (before is None or not _too_fast(before, one))
                    and following
                    and not _too_fast(one, following)
                ):
                    odd = last
                near = f"the {last.hours:g} h before" if odd is one else f"the {one.hours:g} h after"
                words = (
                    f"at most 24 h a day more than {near}"
                    if odd is one
                    else f"at most 24 h a day less than {near}"
                )
                yield from _question(odd, words, "rise")
                if odd is last:
                    last = one
                    continue
            before, last = last, one
        else:
            near = f"at least the {last.hours:g} h before" if last else "no more than the hours after"
            yield from _question(one, f"{near}, or a 'meter_reset' between", "fall")


def _too_fast(last: Hours, one: Hours) -> bool:
    return one.hours - last.hours > 24.0 * (one.last_day - last.day + 1) + SLACK_HOURS


def _question(one: Hours, expected: str, what: str) -> Iterator[Finding]:
    if one.row is None or one.row.already:
        return
    column = "run_hours_before" if one.before is not None and not one.reset else "run_hours"
    yield one.row.question(column, expected, _REMEDIES[what], f"run_hours_{what}")


def _longest_rising(run: Sequence[Hours]) -> list[bool]:
    """Which entries belong to the longest run that never falls by more than the slack; of
    equals the earlier.
    """
    n = len(run)
    best, before = [1] * n, [-1] * n
    if all(b.hours >= a.hours - SLACK_HOURS for a, b in pairwise(run)):
        return [True] * n
    for i in range(n):
        for j in range(i):
            if run[j].hours - SLACK_HOURS <= run[i].hours and best[j] + 1 > best[i]:
                best[i], before[i] = best[j] + 1, j
    at = max(range(n), key=lambda i: (best[i], -i))
    kept = [False] * n
    while at >= 0:
        kept[at] = True
        at = before[at]
    return kept
