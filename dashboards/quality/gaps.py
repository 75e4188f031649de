"""How good the record is: what is missing or doubtful of which bearings, and what one measurement would add.
No database.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from fleet.formatting import counted, day, um
from fleet.measuring_methods import METHODS, NOT_NAMED, Spread, words_of
from fleet.models import Bearing, LimitUse
from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.judgement_figures import Judgement, Why
from inspections.forecasts.judgement.judgement_sentence import no_life_words, reading_words, standing_of
from inspections.forecasts.notes import looks_copied, meter_words
from inspections.forecasts.wear_inputs import Known
from inspections.story.effect_of_work import NEW_LIFE, UNSURE, Happening
from inspections.story.exposure import CALENDAR
from inspections.story.observations import Observation
from inspections.wear.normal import EIGHT_IN_TEN

# Taper worth a word: a judgement, no published source.
TAPER_UM, TAPER_PART = 25.0, 0.15
# Two methods of one visit further apart than so many standard uncertainties of their difference disagree.
APART_SD = 2.0
SHOWN = 60
NO_MEASUREMENT = "no measurement"
OUTCOMES = {
    "ok": "dated by their own readings and the fleet's",
    "past_limit": "past a limit the plant set",
    "misfit": "readings that do not fit together",
    "fleet_only": "no usable reading of their own",
    "cannot_say": "the fleet is too young to say",
    "no_limit": "no limit to be reached",
    Why.NO_LIFE: "a limit or a bore that is wrong",
}


@dataclass(frozen=True)
class Line:
    """One bearing under one concern: what is doubtful, what one measurement (or act) would add, when it can
    be had, and what its reading then decides by the judgement that stands.
    """

    bearing: Bearing
    address: str
    found: str
    adds: str
    chance: str
    decides: str = ""


@dataclass
class Concern:
    """One thing that a record can lack, and the bearings that lack it."""

    code: str
    title: str
    words: str
    lines: list[Line] = field(default_factory=list)

    @property
    def n(self) -> int:
        return len(self.lines)

    @property
    def shown(self) -> list[Line]:
        return self.lines[:SHOWN]

    @property
    def n_more(self) -> int:
        return max(0, self.n - SHOWN)


@dataclass(frozen=True)
class Quality:
    """The whole page: bearings by outcome, concerns that hold of any, and how many bearings none holds of."""

    n: int
    outcomes: list[tuple[str, str, int]]
    concerns: list[Concern]
    n_sound: int

    def saying(self) -> str:
        """What to see first."""
        if not self.n:
            return "No bearing is registered yet. Bring the register first."
        if not self.concerns:
            return f"Nothing is missing or doubtful in the record of {counted(self.n, 'bearing')}."
        most = max(self.concerns, key=lambda one: one.n)
        return (
            f"Of {counted(self.n, 'bearing')}, {self.n_sound} {'has' if self.n_sound == 1 else 'have'}"
            f" nothing missing or doubtful. The most frequent gap: {most.title[:1].lower()}{most.title[1:]}"
            f" ({most.n})."
        )


Told = Callable[[Known, Figures, Mapping[str, Spread]], "tuple[str, str] | None"]


def quality(
    known: Iterable[Known],
    figures: Mapping[object, Figures],
    spreads: Mapping[str, Spread],
    judged: Mapping[object, Judgement],
) -> Quality:
    """What the record lacks.

    Parameters
    ----------
    known : iterable of Known
        what the record says of each bearing.
    figures : mapping
        inner id of a bearing to its forecast.
    spreads : mapping
        method to its standard uncertainty, um.
    judged : mapping
        inner id of a bearing to what stands for it.
    """
    all_known = list(known)
    concerns = {code: Concern(code, title, words) for code, title, words, _ in (*OF_JUDGEMENT, *CONCERNS)}
    touched = set()
    for one in all_known:
        its, stands = figures.get(one.bearing.pk, Figures()), judged.get(one.bearing.pk)
        for code, told in _of(one, its, spreads, stands):
            touched.add(one.bearing.pk)
            decides = "" if stands is None or told[1].startswith(NO_MEASUREMENT) else reading_words(stands)
            line = Line(one.bearing, bearing_address(one.bearing), *told, _chance(one), decides)
            concerns[code].lines.append(line)
    counts = Counter(_outcome(figures.get(k.bearing.pk), judged.get(k.bearing.pk)) for k in all_known)
    outcomes = [(code, words, counts[code]) for code, words in OUTCOMES.items() if counts[code]]
    return Quality(
        len(all_known), outcomes, [c for c in concerns.values() if c.lines], len(all_known) - len(touched)
    )


def _of(
    one: Known, its: Figures, spreads: Mapping[str, Spread], stands: Judgement | None
) -> Iterator[tuple[str, tuple[str, str]]]:
    """The concerns that hold of a bearing, each with what is found and what would add to it."""
    for code, _, _, judge in OF_JUDGEMENT:
        if stands is not None and (said := judge(stands)):
            yield code, said
    for code, _, _, tell in CONCERNS:
        if said := tell(one, its, spreads):
            yield code, said


def _outcome(its: Figures | None, stands: Judgement | None) -> str:
    """How a bearing is counted; one whose limit or bore is wrong has passed nothing."""
    if stands is not None and stands.why == Why.NO_LIFE:
        return Why.NO_LIFE
    return str(its["outcome"]) if its else ""


def _chance(one: Known) -> str:
    """When the bearing can next be measured."""
    first = one.coming.first
    if first is None or one.coming.n_known == 0:
        return "no outage is known"
    return f"{first.name}, {day(first.start_on, 'month')}"


def _one_reading(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> str:
    """How much narrower today's clearance would be known after one reading by the method used last."""
    low, high = its["clearance_um_p10"], its["clearance_um_p90"]
    method = one.last.method if one.last else ""
    name = METHODS[method].words if method in METHODS else "reading"
    words = f"one {name}" if name == "reading" else f"one reading by {name}"
    if low is None or high is None:
        return f"{words} starts a series of its own"
    sd = spreads.get(method, NOT_NAMED).sd_um
    now = (float(high) - float(low)) / (2 * EIGHT_IN_TEN)
    after = 1 / math.sqrt(1 / max(now, 1e-6) ** 2 + 1 / sd**2)
    return (
        f"{words}: today's clearance known to ±{um(after * EIGHT_IN_TEN)} instead of"
        f" ±{um(now * EIGHT_IN_TEN)} (8 in 10)"
    )


def _no_reading(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    if one.story.clearances:
        return None
    return "no clearance was ever recorded", _one_reading(one, its, spreads)


def _few(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    """One reading of the life that runs says no rate."""
    seen = _present(one)
    if not one.story.clearances or len(seen) > 1:
        return None
    said = (
        "one reading of this shell, so no rate of its own"
        if seen
        else "no reading of the shell that lies there"
    )
    return said, _one_reading(one, its, spreads)


def _present(one: Known) -> list[Observation]:
    """The observations since new metal last went in."""
    entries = list(one.story.entries)
    begins = [i for i, e in enumerate(entries) if isinstance(e, Happening) and e.effect == NEW_LIFE]
    own = entries[begins[-1] :] if begins else entries
    return [e for e in own if isinstance(e, Observation) and e.series == "clearance" and not e.not_for_wear]


def _old(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    last = one.last
    if last is None or one.n_outages_since < 2:
        return None
    return f"last measured {day(last.on, last.precision)}, two outages ago or more", _one_reading(
        one, its, spreads
    )


def _no_limit(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    uses = (LimitUse.IN_SERVICE_MAX, LimitUse.REPLACE)
    if any(not math.isnan(one.limit_um(use)) for use in uses):
        return None
    return (
        "neither an in-service maximum nor a replace limit",
        f"{NO_MEASUREMENT}: the limit from the machine's book",
    )


def _no_hours(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    if one.run.clock != CALENDAR:
        return None
    return (
        "no run hours and no stated duty: the calendar stands in",
        "two meter readings a year apart, or the hours a day it runs",
    )


def _meter(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    words = meter_words(one)
    return (words, f"{NO_MEASUREMENT}: what the pump ran in those years") if words else None


def _aside(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    n = one.story.n_set_aside
    return (f"{counted(n, 'row')} set aside", f"{NO_MEASUREMENT}: whoever knows settles them") if n else None


def _unknown_work(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    """A fall nobody explained: something was done and not written down."""
    for entry in one.story.entries:
        if isinstance(entry, Happening) and entry.effect == UNSURE:
            return f"{entry.words}, {day(entry.on, entry.precision)}", _one_reading(one, its, spreads)
    fall = _fall(one, spreads)
    if fall is None:
        return None
    before, after = fall
    said = (
        f"{um(before.value_um)} in {day(before.on, 'month')}, {um(after.value_um)} in"
        f" {day(after.on, 'month')}, nothing written between"
    )
    return said, f"{NO_MEASUREMENT}: the job cards of that time"


def _fall(one: Known, spreads: Mapping[str, Spread]) -> tuple[Observation, Observation] | None:
    last: Observation | None = None
    for entry in one.story.entries:
        if isinstance(entry, Happening):
            last = last if entry.effect == "none" else None
        elif entry.series == "clearance" and not entry.not_for_wear and entry.value_um is not None:
            if last is not None and last.value_um is not None and last.visit != entry.visit:
                sd = math.hypot(_sd(last, spreads), _sd(entry, spreads))
                if entry.value_um < last.value_um - 3.5 * sd:
                    return last, entry
            last = entry
    return None


def _sd(seen: Observation, spreads: Mapping[str, Spread]) -> float:
    spread = spreads.get(seen.method, NOT_NAMED)
    return math.hypot(spread.sd_um, spread.bias_sd_um)


def _copied(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    if not looks_copied(one):
        return None
    return "each as found equals the last as left", _one_reading(one, its, spreads)


def _tapered(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    last = one.last
    if last is None or last.taper_um is None or last.value_um is None:
        return None
    taper = abs(last.taper_um)
    if taper <= max(TAPER_UM, TAPER_PART * last.value_um):
        return None
    words = f"the ends differ by {um(taper)}, {day(last.on, 'month')}" + (
        f"; larger {'on the pump side' if last.larger_end == 'in' else 'away from the pump'}"
        if last.larger_end
        else ""
    )
    return words, "both ends measured again, and the alignment looked at"


def _methods(one: Known, its: Figures, spreads: Mapping[str, Spread]) -> tuple[str, str] | None:
    by_visit: dict[tuple, list[Observation]] = defaultdict(list)
    for seen in one.story.clearances:
        if seen.value_um is not None:
            by_visit[seen.visit, seen.stage].append(seen)
    for some in reversed(list(by_visit.values())):
        for a, b in [(some[0], other) for other in some[1:] if other.method != some[0].method]:
            apart = abs((a.value_um or 0) - (b.value_um or 0))
            if apart > APART_SD * math.hypot(_sd(a, spreads), _sd(b, spreads)):
                first, second = (words_of(m, "a way not named").lower() for m in (a.method, b.method))
                said = f"{um(a.value_um)} by {first}, {um(b.value_um)} by {second}, {day(a.on, 'month')}"
                return said, "bore gauge and micrometer decide between the two"
    return None


def _wrong_limit(stands: Judgement) -> tuple[str, str] | None:
    if stands.why != Why.NO_LIFE:
        return None
    return (
        no_life_words(standing_of(stands, None, None)),
        f"{NO_MEASUREMENT}: the limit from the machine's book, or the reading after fitting put right",
    )


def _misfit(stands: Judgement) -> tuple[str, str] | None:
    if stands.why != Why.MISFIT:
        return None
    return "its readings bend more than their errors explain", "the bearing opened and measured twice"


OF_JUDGEMENT: Sequence[tuple[str, str, str, Callable[[Judgement], tuple[str, str] | None]]] = (
    ("wrong_limit", "A limit or a bore is wrong", "Nothing can be decided by it.", _wrong_limit),
    ("misfit", "Readings that do not follow steady wear", "The engineer decides of these.", _misfit),
)

CONCERNS: Sequence[tuple[str, str, str, Told]] = (
    ("no_reading", "No reading", "Dates rest on the fleet alone.", _no_reading),
    ("few", "One reading of the present shell, or none", "A rate of its own needs two.", _few),
    ("old", "Not measured for two outages", "What was known grows old.", _old),
    ("no_limit", "No limit", "Without a limit there is no date.", _no_limit),
    ("no_hours", "No run hours", "Wear goes with running; the calendar is a poor stand-in.", _no_hours),
    (
        "meter",
        "A meter that may have counted double",
        "Twice the hours make wear look half as fast.",
        _meter,
    ),
    ("unknown_work", "Work nobody wrote down", "A clearance fell, and no event says why.", _unknown_work),
    ("aside", "Rows set aside", "Kept word for word, used for nothing until they are settled.", _aside),
    (
        "copied",
        "Perhaps copied",
        "As found equal to the last as left everywhere is not what wear looks like.",
        _copied,
    ),
    ("tapered", "Tapered", "The ends differ by more than readings do.", _tapered),
    ("methods", "Two methods that disagree", "Both are shown as measured; one of them is wrong.", _methods),
)
