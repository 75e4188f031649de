"""The verdict on one reading while the bearing is still open, and the question at entry. Numbers and words; no Django.

`static/inspections/verdict.js` is the same rule for a device without network; a test holds the two together over a
table of cases. Change both.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from inspections.wear.conformity import WORDS, judge

EIGHT_IN_TEN = 1.2815515655446004  # of a normal: a tenth beyond on either side
FAR = 2.967737925342168  # of a normal: 99.7 % within
# A value is asked about too when a named slip explains it so much better than wear does. Odds of a slip before it is
# seen and the odds at which one asks: set on the simulated fleets of tests/bench/slips.py, no published source.
SLIP_CHANCE, ASK_FROM = 0.005, 0.35
STEP_OF_UNIFORM = math.sqrt(12)  # a step's standard uncertainty is step/sqrt(12), JCGM 100:2008, F.2.2.1

# How many times too large the typed value is, and what was probably done.
SLIPS: tuple[tuple[float, str], ...] = (
    (0.5, "radial where diametral is asked"),
    (2.0, "doubled already"),
    (0.1, "decimal mark misplaced"),
    (10.0, "decimal mark misplaced"),
    (0.01, "decimal mark misplaced"),
    (100.0, "decimal mark misplaced"),
    (1 / 2.54, "thou typed as hundredths of a millimetre"),
    (2.54, "hundredths of a millimetre typed as thou"),
    (1 / 25.4, "inches typed as millimetres"),
    (25.4, "millimetres typed as inches"),
    (1 / 39.37, "millimetres typed as thou"),
    (39.37, "thou typed as millimetres"),
    (0.001, "millimetres typed as micrometres"),
    (1000.0, "micrometres typed as millimetres"),
)
UNIT_UM = {"mm": 1000.0, "um": 1.0, "mil": 25.4, "thou": 25.4, "in": 25400.0}
DIGITS = {"mm": 3, "um": 0, "mil": 1, "thou": 1, "in": 4}
SIGN = {"um": "µm"}


@dataclass(frozen=True)
class Held:
    """The range a reading is held against, um; either side may be missing. `name`: how the text calls it."""

    low_um: float | None = None
    high_um: float | None = None
    name: str = "limit"


@dataclass(frozen=True)
class Expected:
    """The clearance expected at a station, um: one in ten below `low_um`, even at `mid_um`, one in ten above `high_um`.

    The reading's own error comes on top. `taper_um`: how much smaller the smaller end is expected to be. `rough`: by
    rule of thumb, so only a gross slip is asked about.
    """

    low_um: float
    mid_um: float
    high_um: float
    taper_um: float = 0.0
    rough: bool = False


@dataclass(frozen=True)
class Verdict:
    """What is said at once. `word`: one of the five, or empty without a limit; `slip`: the likely slip, `mended_um` its cure."""

    word: str
    p_low: float
    p_high: float
    text: str
    asked: bool
    question: str
    slip: str
    mended_um: float | None

    def as_dict(self) -> dict[str, Any]:
        """For the page and the device."""
        return asdict(self)


def reading_sd_um(method_sd_um: float, step_um: float | None, exceptions_um: Sequence[float] = ()) -> float:
    """Standard uncertainty of one reading: the method's, its step's, and that of each exception from usual conditions."""
    step = (step_um or 0.0) / STEP_OF_UNIFORM
    return math.sqrt(method_sd_um**2 + step**2 + sum(one**2 for one in exceptions_um))


def after_scrape(found_um: float, found_sd_um: float, step_um: float, step_sd_um: float) -> Expected:
    """What is expected as left at a station scraped in this visit: as found plus the class's usual step."""
    half = EIGHT_IN_TEN * math.hypot(found_sd_um, step_sd_um)
    middle = found_um + step_um
    return Expected(middle - half, middle, middle + half)


def verdict(
    value_um: float, sd_um: float, unit: str, held: Held, expected: Expected | None = None
) -> Verdict:
    """Judge one reading, say it in one line, and ask where it is unlikely. Nothing is blocked.

    >>> verdict(221.0, 10.0, "thou", Held(high_um=259.1), Expected(210.0, 220.0, 236.0)).text
    'Inside the limit of 10.2 thou (less than 1 in 1000 that it is over), and as expected.'
    """
    judged = judge(value_um, sd_um, held.low_um, held.high_um)
    is_held = held.low_um is not None or held.high_um is not None
    asked, slip, mended = question(value_um, sd_um, expected)
    return Verdict(
        judged.word if is_held else "", judged.p_low, judged.p_high,
        f"{limit_words(judged.word, judged.p_low, judged.p_high, unit, held)}"
        f"{expected_words(value_um, sd_um, expected, asked)}.",
        asked, question_words(unit, expected, slip, mended) if asked else "", slip, mended,
    )  # fmt: skip


def verdict_of_interval(
    low_um: float | None, high_um: float | None, sd_um: float, unit: str, held: Held
) -> Verdict:
    """Judge a reading of which only bounds are known: what its bounds leave open stays open."""
    if held.low_um is None and held.high_um is None:
        return Verdict("", 0.0, 0.0, "No limit is set to hold this against.", False, "", "", None)
    over, p_over = _bound(low_um, high_um, sd_um, held.high_um, 1.0)
    tight, p_tight = _bound(
        None if high_um is None else -high_um, None if low_um is None else -low_um, sd_um, held.low_um, -1.0
    )
    word = (
        WORDS[4]
        if over == 2
        else WORDS[0]
        if tight == 2
        else WORDS[3]
        if over
        else WORDS[1]
        if tight
        else WORDS[2]
    )
    text = f"{limit_words(word, p_tight, p_over, unit, held, bounds=True)}."
    return Verdict(word, p_tight, p_over, text, False, "", "", None)


def _bound(
    low: float | None, high: float | None, sd: float, limit: float | None, sign: float
) -> tuple[int, float]:
    """(2 surely, 1 perhaps, 0 not beyond; its chance, a half where the bounds leave it open)."""
    if limit is None:
        return 0, 0.0
    at = sign * limit
    if low is not None and judge(low, sd, None, at).word == WORDS[4]:
        return 2, judge(low, sd, None, at).p_high
    if high is not None and judge(high, sd, None, at).word == WORDS[2]:
        return 0, judge(high, sd, None, at).p_high
    return 1, 0.5


# the question at entry -----------------------------------------------------------------------------------


def question(value_um: float, sd_um: float, expected: Expected | None) -> tuple[bool, str, float | None]:
    """Whether to ask for a second measurement, and the slip that would explain the value.

    Asked outside 99.7 % of what is expected, or where a slip's factor explains it better than wear does.
    """
    if expected is None:
        return False, "", None
    far = abs(distance(value_um, sd_um, expected)) > FAR
    as_is = likelihood(value_um, sd_um, expected)
    best, slip, mended = 0.0, "", None
    for factor, words in SLIPS:
        odds = likelihood(value_um / factor, sd_um, expected) / factor
        if odds > best and abs(distance(value_um / factor, sd_um, expected)) < FAR:
            best, slip, mended = odds, words, value_um / factor
    chance = SLIP_CHANCE / len(SLIPS) * best
    by_slip = chance > ASK_FROM * (chance + (1 - SLIP_CHANCE) * as_is)
    asked = far or (by_slip and not expected.rough)
    return (True, slip, mended) if asked else (False, "", None)


def distance(value_um: float, sd_um: float, expected: Expected) -> float:
    """How far from expected, in standard uncertainties of its own side; between the two ends nothing is far."""
    least = expected.mid_um - expected.taper_um
    if value_um < least:
        return (value_um - least) / _side(expected.mid_um - expected.low_um, sd_um)
    if value_um > expected.mid_um:
        return (value_um - expected.mid_um) / _side(expected.high_um - expected.mid_um, sd_um)
    return 0.0


def likelihood(value_um: float, sd_um: float, expected: Expected) -> float:
    """Density of a value under what is expected, up to a factor."""
    below = _side(expected.mid_um - expected.low_um, sd_um)
    above = _side(expected.high_um - expected.mid_um, sd_um)
    return math.exp(-0.5 * distance(value_um, sd_um, expected) ** 2) / (0.5 * (below + above))


def _side(half_um: float, sd_um: float) -> float:
    return max(math.hypot(max(half_um, 0.0) / EIGHT_IN_TEN, sd_um), 1e-6)


# words ---------------------------------------------------------------------------------------------------


def fixed(number: float, digits: int) -> str:
    """A number with so many digits, halves rounded up: the same in the browser."""
    ten = 10**digits
    return f"{math.floor(number * ten + 0.5) / ten:.{digits}f}"


def shown(um: float, unit: str) -> str:
    """A length in um as a bare number of the unit's usual digits."""
    return fixed(um / UNIT_UM[unit], DIGITS[unit])


def with_unit(um: float, unit: str) -> str:
    """A length in um with its unit: `10.2 thou`."""
    return f"{shown(um, unit)} {SIGN.get(unit, unit)}"


def chance_words(p: float) -> str:
    """A chance in words that hold their number.

    >>> [chance_words(p) for p in (0.0004, 0.02, 0.3, 0.97, 0.9999)]
    ['less than 1 in 1000', '1 in 50', '3 in 10', 'more than 19 in 20', 'more than 999 in 1000']
    """
    if p < 0.001:
        return "less than 1 in 1000"
    if p < 0.1:
        return f"1 in {math.floor(1 / p + 0.5)}"
    if p <= 0.95:
        return f"{min(9, max(1, math.floor(10 * p + 0.5)))} in 10"
    return "more than 19 in 20" if p < 0.999 else "more than 999 in 1000"


def limit_words(
    word: str, p_low: float, p_high: float, unit: str, held: Held, *, bounds: bool = False
) -> str:
    """The verdict against the limit, without its full stop."""
    low, high = held.low_um, held.high_um
    if low is None and high is None:
        return "No limit is set to hold this against"
    risk = "its bounds leave it open" if bounds and word.startswith("may") else ""
    if word in (WORDS[3], WORDS[4]) and high is not None:
        start = "Over" if word == WORDS[4] else "May be over"
        return f"{start} the {held.name} of {with_unit(high, unit)} ({risk or chance_words(p_high) + ' that it is'})"
    if word in (WORDS[0], WORDS[1]) and low is not None:
        start = "Too tight: under" if word == WORDS[0] else "May be too tight: under"
        return f"{start} {with_unit(low, unit)} ({risk or chance_words(p_low) + ' that it is'})"
    if low is None:
        return f"Inside the {held.name} of {with_unit(high or 0.0, unit)} ({chance_words(p_high)} that it is over)"
    if high is None:
        return f"Inside: above {with_unit(low, unit)} ({chance_words(p_low)} that it is too tight)"
    return f"Inside {shown(low, unit)} to {with_unit(high, unit)} ({chance_words(p_low + p_high)} that it is not)"


def expected_words(value_um: float, sd_um: float, expected: Expected | None, asked: bool) -> str:
    """How the value lies to what was expected, to follow the verdict."""
    if expected is None or (expected.rough and not asked):
        return ""
    away = distance(value_um, sd_um, expected)
    if asked:
        return ", but not what was expected"
    if abs(away) <= EIGHT_IN_TEN:
        return ", and as expected"
    return ", somewhat more than expected" if away > 0 else ", somewhat less than expected"


def question_words(unit: str, expected: Expected | None, slip: str, mended_um: float | None) -> str:
    """What is asked of an unlikely value."""
    assert expected is not None
    low, high = expected.low_um - expected.taper_um, expected.high_um
    said = f"Measure once more while it is open: {shown(low, unit)} to {with_unit(high, unit)} was expected."
    if slip and mended_um is not None:
        said += f" A likely slip: {slip}; it would then be {with_unit(mended_um, unit)}."
    return said


def from_mapping(held: Mapping[str, Any], expected: Mapping[str, Any] | None) -> tuple[Held, Expected | None]:
    """Back from what was sent to a device."""
    return Held(**held), Expected(**expected) if expected else None
