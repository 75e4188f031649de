"""Values that can be read and do not fit: outside what the journal allows, off by a factor, fallen, printed
twice.

Every question must be rare on a clean sheet: a value is asked about only where it is far from what its
neighbours in the same life allow *and* a slip explains it, or where no slip is needed (a fall, a clearance no
journal has).
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import groupby
from uuid import UUID

import numpy as np

from fleet.importing.findings import Finding
from fleet.per_mille import CLEARANCE
from fleet.slip_factors import APART
from fleet.units import show_um
from inspections.importing.lines import Line
from inspections.story.effect_of_work import NEW_BASELINE, NEW_LIFE, STEP, UNEXPLAINED_FALL, effect_of

MADE_SMALLER = "add the event that made it smaller (new shell, shims, regrind)"
NEAR = 0.15  # how near a factor the ratio must come
FAR_SD = 2.5  # a slip is looked for only beyond so many standard uncertainties
FALL_SD = 3.5  # a fall is asked about beyond so many: fewer than one in 4000 by chance alone
OTHER_METHOD_SD_UM = 8.0  # two methods' offset against each other; judgement, no published source
OTHER_END_PART = 0.04  # another end measured: the taper may account for so much of the clearance
SCRAPE_MOST_UM = 150.0  # more than one scrape takes off; common practice, no published source
UNKNOWN_WEAR_UM_PER_DAY = 60.0 / 365.25  # allowed where the fleet says nothing yet: judgement
ENOUGH_RATES = 20
STEADY = frozenset({"bore", "journal", "wall"})  # these hardly change: a factor is a slip at once


@dataclass(frozen=True, slots=True)
class Facts:
    """What the register says of a bearing that judging a clearance needs; lengths in um."""

    load_side: str = "bottom"
    journal_um: float | None = None
    fitting: tuple[float, float] | None = None


@dataclass(slots=True)
class _Level:
    """The clearance as the lines before say it, in the life that runs."""

    value: float
    day: int
    sd: float
    methods: frozenset[str]
    ends: frozenset[str]
    lines: tuple[Line, ...]
    n: int = 1
    stepped: bool = False
    worked: bool = False


@dataclass
class Wear:
    """How fast clearances grow, um a day: what the readings of this file and the record say."""

    rates: list[float] = field(default_factory=list)

    def allowance(self) -> float:
        """A growth that few bearings reach."""
        if len(self.rates) < ENOUGH_RATES:
            return UNKNOWN_WEAR_UM_PER_DAY
        return max(3.0 * float(np.quantile(self.rates, 0.9)), 1e-3)

    def usual(self) -> float:
        """The median growth."""
        return (
            float(np.median(self.rates)) if len(self.rates) >= ENOUGH_RATES else UNKNOWN_WEAR_UM_PER_DAY / 6
        )


def check_values(lines: Mapping[UUID, Sequence[Line]], facts: Mapping[UUID, Facts]) -> Iterator[Finding]:
    """Questions about the values of many bearings.

    Parameters
    ----------
    lines : mapping
        bearing to its readings and works, sheet and record together, phases settled.
    facts : mapping
        bearing to what the register says.
    """
    ordered = {bearing: in_order(some) for bearing, some in lines.items()}
    wear = Wear()
    for bearing, some in ordered.items():
        wear.rates += _rates(some, facts.get(bearing, Facts()))
    allowed, usual = wear.allowance(), wear.usual()
    for bearing, some in ordered.items():
        if any(line.is_new for line in some):
            judge = _Judge(facts.get(bearing, Facts()), allowed, usual)
            judge.run(some)
            yield from judge.findings
            yield from _steady(some)
            yield from _printed_twice(some)


def in_order(lines: Sequence[Line]) -> list[Line]:
    """By the day of the visit, as found, work, as left, given order."""
    day: dict[object, int] = {}
    for line in lines:
        day[line.visit] = min(line.day, day.get(line.visit, line.day))
    return sorted(lines, key=lambda line: (day[line.visit], str(line.visit), line.phase, line.order))


def _groups(lines: Sequence[Line]) -> Iterator[list[Line]]:
    """Runs of one visit and phase; each work by itself."""
    for (_, phase), run in groupby(lines, key=lambda line: (line.visit, line.phase)):
        if phase == 1:
            yield from ([line] for line in run)
        else:
            yield [line for line in run if line.vertical and line.middle is not None]


def _rates(lines: Sequence[Line], facts: Facts) -> list[float]:
    """Growth per day between neighbours of one life, where nothing was done between; falls count as none."""
    found = []
    level: tuple[float, int] | None = None
    for group in _groups(lines):
        if not group:
            continue
        if group[0].phase == 1:
            level = None
            continue
        value, day = sum(line.middle or 0.0 for line in group) / len(group), group[0].day
        if level and day > level[1] and 0 < value < 3 * level[0]:
            found.append(max(value - level[0], 0.0) / (day - level[1]))
        level = (value, day)
    return found


class _Judge:
    """Goes through one bearing's lines with the level they should have."""

    def __init__(self, facts: Facts, allowed: float, usual: float) -> None:
        self.facts, self.allowed, self.usual = facts, allowed, usual
        self.level: _Level | None = None
        self.fell = False  # a fall was asked about; what was read is the level now
        self.fitted = False  # new metal went in and nothing was measured since
        self.own = 0.0  # this bearing's own fastest growth so far, um a day
        self.findings: list[Finding] = []

    def run(self, lines: Sequence[Line]) -> None:
        """Ask about every value that does not fit."""
        groups = [group for group in _groups(lines) if group]
        for i, group in enumerate(groups):
            if group[0].phase == 1:
                self._work(group[0])
            else:
                self._observed(group, groups[i + 1] if i + 1 < len(groups) else None)

    def _work(self, line: Line) -> None:
        effect = effect_of(line.kind, line.half, self.facts.load_side)
        if effect in (NEW_LIFE, NEW_BASELINE):
            self.level, self.own = None, 0.0
            self.fitted = effect == NEW_LIFE
        elif effect == STEP and self.level:
            self.level.stepped = self.level.worked = True

    def _observed(self, group: list[Line], after: list[Line] | None) -> None:
        good = []
        for line in group:
            asked = (
                self._outside_journal(line) or self._beside_level(line, after) or self._beside_fitting(line)
            )
            if asked is None:
                good.append(line)
            elif line.is_new:
                self.findings.append(asked)
        if good:
            self._take(good)

    def _take(self, good: list[Line]) -> None:
        value = sum(line.middle or 0.0 for line in good) / len(good)
        before = self.level
        day = good[0].day
        if before and not before.worked and day > before.day:
            self.own = max(self.own, (value - before.value) / (day - before.day))
        self.level = _Level(
            value,
            day,
            min(line.sd for line in good),
            frozenset(line.method for line in good),
            frozenset(line.end for line in good),
            tuple(good),
            1 if before is None or self.fell else before.n + 1,
        )
        self.fitted = self.fell = False

    def _outside_journal(self, line: Line) -> Finding | None:
        journal = self.facts.journal_um
        if not journal or line.middle is None:
            return None
        low, high = (float(um) for um in CLEARANCE.of(Decimal(str(journal))))
        if low <= line.middle <= high:
            return None
        expected = (
            f"a clearance of {_shown(low, line)} to {_shown(high, line)} "
            f"({CLEARANCE.words} of the {show_um(journal, 'mm', 1)} journal)"
        )
        remedy = "check the value, its unit and basis, and the journal's diameter in the register"
        slip = _slip(line.middle, [self.level.value] if self.level else _middle_of(self.facts.fitting))
        return _asked(line, "clearance_range", expected, f"{APART[slip]}: {remedy}" if slip else remedy)

    def _beside_level(self, line: Line, after: list[Line] | None) -> Finding | None:
        level, x = self.level, line.middle
        if level is None or x is None:
            return None
        days = max(line.day - level.day, 0)
        sd = math.hypot(line.sd, level.sd, line.step * 0.29)
        if line.method not in level.methods:
            sd = math.hypot(sd, OTHER_METHOD_SD_UM)
        if line.end not in level.ends:
            sd = math.hypot(sd, OTHER_END_PART * level.value)
        predicted = level.value + days * (self.own or self.usual)
        grown = days * max(self.allowed, 3 * self.own) + (SCRAPE_MOST_UM if level.stepped else 0.0)
        slip = _slip(x, [level.value, predicted])
        if slip and (x > level.value + grown + FAR_SD * sd or x < level.value - FAR_SD * sd):
            if after and level.n == 1 and not self._other_way(level, x, after):
                return self._blame_before(line, slip)
            return self._jump(line, slip, level.value, fallen=x < level.value and not level.worked)
        if x < level.value - FALL_SD * sd and not level.worked:
            words = (
                f"at least {_shown(level.value - FAR_SD * sd, line)} after {_shown(level.value, line)} before"
            )
            asked = _asked(
                line, "fall_without_event", words, f"{UNEXPLAINED_FALL} (new shell, shims, regrind)"
            )
            if line.is_new:
                self.findings.append(asked)
            # Asked about, and the level all the same: or every later reading would be asked about too.
            self.fell = True
        return None

    def _other_way(self, level: _Level, x: float, after: list[Line]) -> bool:
        """Whether what comes next sides with the level rather than with this value."""
        following = next((line.middle for line in after if line.phase != 1 and line.middle), None)
        if following is None:
            return True
        return abs(math.log(following / level.value)) <= abs(math.log(following / max(x, 1e-6)))

    def _blame_before(self, line: Line, slip: float) -> Finding | None:
        """The one reading before is the odd one: ask about it, and go on from this one."""
        assert self.level is not None
        blamed = self.level.lines
        self.level = None
        for odd in blamed:
            if odd.is_new:
                self.findings.append(self._jump(odd, slip, line.middle or 0.0))
        return None

    def _beside_fitting(self, line: Line) -> Finding | None:
        """The first reading on new metal against the fitting range."""
        fitting, x = self.facts.fitting, line.middle
        if self.level is not None or not self.fitted or fitting is None or x is None:
            return None
        low, high = fitting
        slip = _slip(x, [(low + high) / 2], spread=(high - low) / (high + low))
        if slip and not 0.7 * low <= x <= 1.5 * high:
            return self._jump(line, slip, (low + high) / 2)
        return None

    def _jump(self, line: Line, slip: float, near: float, fallen: bool = False) -> Finding:
        words = f"a clearance near {_shown(near, line)} as its neighbours have"
        remedy = f"it is off by a factor near {slip:g}: {APART[slip]}; check value, unit and basis"
        return _asked(line, "jump", words, f"{remedy}, or {MADE_SMALLER}" if fallen else remedy)


def _slip(x: float, references: Sequence[float], spread: float = 0.0) -> float | None:
    """The factor by which a value is off from one of the references, up or down; None for no such factor."""
    for reference in references:
        if reference <= 0 or x <= 0:
            continue
        ratio = x / reference if x > reference else reference / x
        for factor in APART:
            if abs(ratio / factor - 1) <= NEAR + spread:
                return factor
    return None


def _middle_of(fitting: tuple[float, float] | None) -> list[float]:
    return [sum(fitting) / 2] if fitting else []


def _shown(um: float, line: Line) -> str:
    """A length in the line's own unit."""
    return show_um(um, line.unit or "um")


def _asked(line: Line, code: str, expected: str, remedy: str) -> Finding:
    found = f"'{line.typed}' {line.unit}" + (" (radial)" if line.basis == "radial" else "")
    if line.row is None:
        return Finding(code, found, expected, remedy, is_question=True)
    return line.row.question("value", expected, remedy, code, found=found)


def _steady(lines: Sequence[Line]) -> Iterator[Finding]:
    """Bores, journals and walls that jump by a factor from one visit to the next."""
    last: dict[tuple[str, str], float] = {}
    for line in lines:
        if line.quantity not in STEADY or line.middle is None:
            continue
        key = (line.quantity, line.station if line.quantity == "wall" else "")
        before = last.get(key)
        slip = _slip(line.middle, [before]) if before else None
        if slip and before:
            if line.is_new:
                words = f"a {line.quantity} near {_shown(before, line)} as before"
                remedy = f"it is off by a factor near {slip:g}: {APART[slip]}; check value and unit"
                yield _asked(line, "jump", words, remedy)
            continue
        last[key] = line.middle


def _printed_twice(lines: Sequence[Line]) -> Iterator[Finding]:
    """One measurement given in two units must be the same to the last digit shown.

    A published table prints 0.0025 in as 0.089 mm, which is 0.0635 mm (TM 9-6115-604-34, table 1-4).
    """
    groups: dict[tuple, list[Line]] = defaultdict(list)
    for line in lines:
        if line.kind == "reading" and line.value is not None:
            groups[line.visit, line.phase, line.quantity, line.station, line.method].append(line)
    for some in groups.values():
        for line in some[1:]:
            other = some[0]
            if line.unit == other.unit or not line.is_new:
                continue
            # Each may be rounded by half of its last digit; a little more for cut-off digits.
            if abs((line.value or 0) - (other.value or 0)) > 0.6 * (line.step + other.step):
                words = (
                    f"{_shown(other.value or 0, line)}, which is the '{other.typed}' {other.unit} of the same"
                    " reading"
                )
                remedy = "check which of the two was read; a second measurement is given in the same unit"
                yield _asked(line, "two_units_disagree", words, remedy)
