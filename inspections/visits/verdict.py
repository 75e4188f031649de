"""The verdict on one reading while the bearing is still open, and the question at entry. Numbers and words;
no Django.

`static/inspections/verdict.js` is the same rule for a device without network; a test holds the two together
over a table of cases. Change both.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import NormalDist
from typing import Any

from fleet.formatting import chance
from fleet.slip_factors import (
    AS_HUNDREDTHS,
    AS_THOU,
    DOUBLED,
    MARK,
    RADIAL,
    UNIT_UM,
    Slip,
    slips_of,
)
from inspections.wear.forecast import DOUBTFUL
from inspections.wear.normal import EIGHT_IN_TEN, NEARLY_ALL
from inspections.wear.verdict_at_limit import WORDS, judge

FAR = NEARLY_ALL  # from what is expected: beyond it a value is asked about
# A clearance below what is expected is asked about from where the forecast takes it for a possible slip:
# believing it is the dangerous side, and a second measurement settles it while the bearing is open.
LOW = -NormalDist().inv_cdf(DOUBTFUL / 2)
# A value is asked about too when a named slip explains it so much better than wear does. Odds of a slip
# before it is seen and the odds at which one asks: set on the simulated fleets of tests/bench/slips.py, no
# published source.
SLIP_CHANCE, ASK_FROM = 0.005, 0.35
# No gauge for a clearance is read to less than this: "1" in a box of millimetres is no reading to the
# millimetre, but one whose last digits were not typed. A feeler's leaves differ by 0.05 mm; common practice,
# no published source.
COARSEST_STEP_UM = 50.0
GROSS = (
    5.0  # a bound is asked about so many times under or over what is expected; judgement, no published source
)
STEP_OF_UNIFORM = math.sqrt(12)  # a step's standard uncertainty is step/sqrt(12), JCGM 100:2008, F.2.2.1

DIGITS = {"mm": 3, "um": 0, "mil": 1, "thou": 1, "in": 4}
SIGN = {"um": "µm"}
MEANT = {
    RADIAL: "the whole clearance where the reading was radial",
    DOUBLED: "the reading itself, not twice it",
    MARK: "with the decimal mark elsewhere",
    AS_HUNDREDTHS: "thou that were typed as hundredths of a millimetre",
    AS_THOU: "hundredths of a millimetre that were typed as thou",
}


@dataclass(frozen=True)
class Held:
    """The range a reading is held against, um; either side may be missing. `name`: how the text calls it.

    `most_um`: what no reading of this bearing is larger than without being asked about, nor as small as
    nothing.
    """

    low_um: float | None = None
    high_um: float | None = None
    name: str = "limit"
    most_um: float | None = None


@dataclass(frozen=True)
class Expected:
    """The clearance expected at a station, um: one in ten below `low_um`, even at `mid_um`, one in ten above
    `high_um`.

    The reading's own error comes on top. `taper_um`: how much smaller the smaller end is expected to be.
    `rough`: by rule of thumb, so only a gross slip is asked about.
    """

    low_um: float
    mid_um: float
    high_um: float
    taper_um: float = 0.0
    rough: bool = False


@dataclass(frozen=True)
class Verdict:
    """What is said at once. `word`: one of the five, or empty without a limit.

    `slip`: the likely slip, a unit or in words; `mended_um` its cure, `mended_unit` the unit in which the
    same number is that (empty: the number itself was another).
    """

    word: str
    p_low: float
    p_high: float
    text: str
    asked: bool
    question: str
    slip: str
    mended_um: float | None
    mended_unit: str = ""

    def as_dict(self) -> dict[str, Any]:
        """For the page and the device."""
        return asdict(self)


def reading_sd_um(method_sd_um: float, step_um: float | None, exceptions_um: Sequence[float] = ()) -> float:
    """Standard uncertainty of one reading: the method's, its step's, and that of each exception from usual
    conditions.
    """
    step = (step_um or 0.0) / STEP_OF_UNIFORM
    return math.sqrt(method_sd_um**2 + step**2 + sum(one**2 for one in exceptions_um))


def after_scrape(found_um: float, found_sd_um: float, step_um: float, step_sd_um: float) -> Expected:
    """What is expected as left at a station scraped in this visit: as found plus the class's usual step."""
    half = EIGHT_IN_TEN * math.hypot(found_sd_um, step_sd_um)
    middle = found_um + step_um
    return Expected(middle - half, middle, middle + half)


@dataclass(frozen=True)
class Typed:
    """How a number was typed: its standard uncertainty and the step of its last digit (a part of it), um; the
    unit of its box; the most that no reading of this bearing is larger than, um.
    """

    sd_um: float
    unit: str = "mm"
    step_um: float = 0.0
    most_um: float | None = None

    def sd_over(self, factor: float = 1.0) -> float:
        """The standard uncertainty were the number, and with it its step, so many times too large."""
        without = max(self.sd_um**2 - (self.step_um / STEP_OF_UNIFORM) ** 2, 0.0)
        step = min(self.step_um / factor, COARSEST_STEP_UM)
        return math.sqrt(without + (step / STEP_OF_UNIFORM) ** 2)


@dataclass(frozen=True)
class Question:
    """Whether a second measurement is asked for, and the slip that would explain the value with what it then
    is, um.
    """

    asked: bool = False
    slip: Slip | None = None
    mended_um: float | None = None
    beyond: bool = False


def verdict(
    value_um: float,
    sd_um: float,
    unit: str,
    held: Held,
    expected: Expected | None = None,
    step_um: float = 0.0,
) -> Verdict:
    """Judge one reading, say it in one line, and ask where it is unlikely. Nothing is blocked.

    Parameters
    ----------
    value_um, sd_um : float
        the reading and its standard uncertainty, that of its step included.
    unit : str
        the box it was typed in: `mm`, `um`, `mil`, `thou` or `in`.
    step_um : float
        one of its last digit, a part of `sd_um`; 0 where it is not known.

    Examples
    --------
    >>> verdict(221.0, 10.0, "thou", Held(high_um=259.1), Expected(210.0, 220.0, 236.0)).text
    'Inside the limit of 10.2 thou (under 1 in 100 that it is over), and as expected.'
    >>> verdict(9000.0, 288.9, "mm", Held(high_um=300.0), Expected(205.0, 220.0, 236.0), 1000.0).question[:33]
    'Did you mean 9 thou (0.229 mm)? M'
    """
    judged = judge(value_um, sd_um, held.low_um, held.high_um)
    is_held = held.low_um is not None or held.high_um is not None
    typed = Typed(sd_um, unit, step_um, held.most_um)
    asked = question(value_um, typed, expected)
    limit = limit_words(judged.word, judged.p_low, judged.p_high, unit, held)
    return Verdict(
        word=judged.word if is_held else "",
        p_low=judged.p_low,
        p_high=judged.p_high,
        text=f"{limit}{expected_words(value_um, typed.sd_over(), expected, asked.asked)}.",
        **_asking(asked, question_words(unit, held, expected, asked, value_um, step_um)),
    )


def _asking(asked: Question, words: str) -> dict[str, Any]:
    """What a verdict says of the question that goes with it, by its fields' names."""
    return {
        "asked": asked.asked,
        "question": words,
        "slip": asked.slip.words if asked.slip else "",
        "mended_um": asked.mended_um,
        "mended_unit": asked.slip.unit if asked.slip and asked.slip.unit in UNIT_UM else "",
    }


def verdict_of_interval(
    low_um: float | None,
    high_um: float | None,
    sd_um: float,
    unit: str,
    held: Held,
    expected: Expected | None = None,
    step_um: float = 0.0,
) -> Verdict:
    """Judge a reading of which only bounds are known: what its bounds leave open stays open, an unlikely one
    is asked about.
    """
    asked = question_of_interval(low_um, high_um, Typed(sd_um, unit, step_um, held.most_um), expected)
    bound = (high_um if low_um is None else low_um) or 0.0
    words = question_words(unit, held, expected, asked, bound, step_um, _sign(low_um, high_um))
    questioned = _asking(asked, words)
    unlike = ", but not what was expected" if asked.asked else ""
    if held.low_um is None and held.high_um is None:
        return Verdict("", 0.0, 0.0, f"No limit is set to hold this against{unlike}.", **questioned)
    over, p_over = _bound(low_um, high_um, sd_um, held.high_um, 1.0)
    tight, p_tight = _bound(
        None if high_um is None else -high_um, None if low_um is None else -low_um, sd_um, held.low_um, -1.0
    )
    word = WORDS[4 if over == 2 else 0 if tight == 2 else 3 if over else 1 if tight else 2]
    text = f"{limit_words(word, p_tight, p_over, unit, held, bounds=True)}{unlike}."
    return Verdict(word, p_tight, p_over, text, **questioned)


def _sign(low_um: float | None, high_um: float | None) -> str:
    """What stands before the bound that is spoken of: as typed, or "from " of the lower of two."""
    return ">" if high_um is None else "<" if low_um is None else "from "


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


def question(value_um: float, typed: Typed, expected: Expected | None) -> Question:
    """Whether to ask for a second measurement, and the slip that would explain the value.

    Asked outside 99.7 % of what is expected, below it outside 98 %, where a slip's factor explains it better
    than wear does, and always at nothing and over the most. Each slip of this box is weighed with the step it
    would then have been read to.
    """
    beyond = typed.most_um is not None and not 0.0 < value_um <= typed.most_um
    if expected is None:
        return Question(asked=beyond, beyond=beyond)
    own = typed.sd_over()
    away = distance(value_um, own, expected)
    far, low = abs(away) > FAR, away < -LOW and not expected.rough
    best, slip, mended = 0.0, None, None
    slips = slips_of(typed.unit)
    for one in slips:
        meant, sd = value_um / one.factor, typed.sd_over(one.factor)
        odds = likelihood(meant, sd, expected) / one.factor
        if odds > best and abs(distance(meant, sd, expected)) < FAR:
            best, slip, mended = odds, one, meant
    chance = SLIP_CHANCE / len(slips) * best
    by_slip = chance > ASK_FROM * (chance + (1 - SLIP_CHANCE) * likelihood(value_um, own, expected))
    if beyond or far or (by_slip and not expected.rough):
        return Question(True, slip, mended, beyond)
    return Question(asked=low)


def question_of_interval(
    low_um: float | None, high_um: float | None, typed: Typed, expected: Expected | None
) -> Question:
    """The same of bounds: asked where all between them is unlikely, or a bound is no bound anybody reads at
    this bearing.
    """
    bounds = [um for um in (low_um, high_um) if um is not None]
    # From nothing up is how "0-0.05" is typed: its lower end is no reading.
    beyond = typed.most_um is not None and any(not 0.0 <= um <= typed.most_um for um in bounds)
    if expected is None:
        return Question(asked=beyond, beyond=beyond)
    if not beyond and not _unlike(low_um, high_um, typed.sd_over(), expected):
        return Question()
    slip, mended, nearest = None, None, math.inf
    bound = (high_um if low_um is None else low_um) or 0.0
    for one in slips_of(typed.unit):
        # twice as much or a tenth is what a strip gives that is really used up
        if not one.unit or bound <= 0.0:
            continue
        low, high = (None if um is None else um / one.factor for um in (low_um, high_um))
        away = abs(math.log(bound / one.factor / expected.mid_um))
        if away < nearest and not _unlike(low, high, typed.sd_over(one.factor), expected):
            slip, mended, nearest = one, bound / one.factor, away
    return Question(True, slip, mended, beyond)


def _unlike(low_um: float | None, high_um: float | None, sd_um: float, expected: Expected) -> bool:
    """Whether all between two bounds is unlikely, or a bound is far from what any gauge for this bearing
    gives.
    """
    least = expected.mid_um - expected.taper_um
    short = low_um is not None and low_um > expected.mid_um and distance(low_um, sd_um, expected) > FAR
    long = high_um is not None and high_um < least and distance(high_um, sd_um, expected) < -FAR
    bounds = [um for um in (low_um, high_um) if um]
    return short or long or any(um * GROSS < least or um > GROSS * expected.high_um for um in bounds)


def distance(value_um: float, sd_um: float, expected: Expected) -> float:
    """How far from expected, in standard uncertainties of its own side; between the two
    ends nothing is far.
    """
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
        return (
            f"{start} the {held.name} of {with_unit(high, unit)} ({risk or chance(p_high) + ' that it is'})"
        )
    if word in (WORDS[0], WORDS[1]) and low is not None:
        start = "Too tight: under" if word == WORDS[0] else "May be too tight: under"
        return f"{start} {with_unit(low, unit)} ({risk or chance(p_low) + ' that it is'})"
    if low is None:
        return f"Inside the {held.name} of {with_unit(high or 0.0, unit)} ({chance(p_high)} that it is over)"
    if high is None:
        return f"Inside: above {with_unit(low, unit)} ({chance(p_low)} that it is too tight)"
    return f"Inside {shown(low, unit)} to {with_unit(high, unit)} ({chance(p_low + p_high)} that it is not)"


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


def question_words(
    unit: str,
    held: Held,
    expected: Expected | None,
    asked: Question,
    value_um: float,
    step_um: float,
    sign: str = "",
) -> str:
    """What is asked of an unlikely value: the slip by the number and unit that it would then be, and a second
    measurement.
    """
    if not asked.asked:
        return ""
    said = []
    if asked.slip is not None and asked.mended_um is not None:
        said.append(
            f"Did you mean {meant_words(asked.slip, asked.mended_um, value_um, unit, step_um, sign)}?"
        )
    again = "Measure once more while it is open"
    if expected is not None:
        low = expected.low_um - expected.taper_um
        said.append(f"{again}: {shown(low, unit)} to {with_unit(expected.high_um, unit)} was expected.")
    elif held.most_um is not None:
        said.append(f"{again}: no clearance of this journal is more than {with_unit(held.most_um, unit)}.")
    return " ".join(said)


def meant_words(
    slip: Slip, mended_um: float, value_um: float, unit: str, step_um: float, sign: str = ""
) -> str:
    """ "9 thou (0.229 mm)", "15 hundredths of a millimetre (0.150 mm)", "0.192 mm, the whole clearance"."""
    cure = f"{sign}{with_unit(mended_um, unit)}"
    if slip.unit:
        digits = typed_digits(step_um, unit)
        return f"{sign}{fixed(value_um / UNIT_UM[unit], digits)} {SIGN.get(slip.unit, slip.unit)} ({cure})"
    return f"{cure}, {MEANT[slip.words]}"


def typed_digits(step_um: float, unit: str) -> int:
    """How many decimals a number was typed with, by its step; the unit's usual ones where
    no step is known.
    """
    if step_um <= 0.0:
        return DIGITS[unit]
    return min(max(math.floor(0.5 - math.log10(step_um / UNIT_UM[unit])), 0), 6)


def from_mapping(held: Mapping[str, Any], expected: Mapping[str, Any] | None) -> tuple[Held, Expected | None]:
    """Back from what was sent to a device."""
    return Held(**held), Expected(**expected) if expected else None
