"""What a reading at the pump is held against and what is expected there: the record as it stood before the
visit.

The expectation is of the day on which the visit opened, from what was recorded until the day before: what is
read today does not change what was expected today, and where nothing was it is what list, page and plan say.
Lengths are um, diametral.
"""

import datetime as dt
import math
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef, Q

from fleet.ledger.kinds import all_kinds
from fleet.measuring_methods import usual_for
from fleet.models import Bearing, Entry, Limit, LimitUse
from fleet.models.recorded import LAST_FIRST
from fleet.per_mille import ENTRY, TYPED, USUAL
from inspections.forecasts.computation import figures_of
from inspections.forecasts.current_forecasts import parameters, standing_run
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.current_judgements import whole_pumps
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.judgement.reckoning import reckon
from inspections.forecasts.wear_inputs import Known, inputs
from inspections.models import ForecastRun, Reading, Stage, Visit
from inspections.story.effect_of_work import NEW_LIFE, STEP
from inspections.story.observations import Measurement
from inspections.visits.stations import Station
from inspections.visits.verdict import FAR, Expected, Held, after_scrape
from inspections.wear.normal import EIGHT_IN_TEN

NEW_METAL, SCRAPED = "new", "scrape"

_BEFORE: OrderedDict[tuple, "Before"] = OrderedDict()
_BEFORE_MOST = 2000


@dataclass(frozen=True)
class Before:
    """A bearing as it was known before a visit; `step` is the usual step of a scrape and its sd.

    `judgement`: what list, page and plan said of it; nothing that is read in the visit changes it.
    """

    known: Known
    figures: Figures
    step: tuple[float, float]
    judgement: Judgement


def before(bearing: Bearing, opened_on: dt.date) -> Before:
    """What was known of a bearing when a visit opened, without that day's own record; kept in the process.

    It is read anew where the fleet is fitted anew and where anything but what visits themselves hold was
    recorded or put right since: a limit, an outage, a choice of the plant, an earlier reading.
    """
    return before_many([bearing], opened_on)[bearing.pk]


def before_many(bearings: Sequence[Bearing], opened_on: dt.date) -> dict[UUID, Before]:
    """The same for many bearings at once."""
    # The run's id alone tells whether it is known: its parameters are long to read.
    fitted = (
        ForecastRun.objects.filter(standing=True).order_by("-made_at").values_list("pk", flat=True).first()
    )
    last = _last_outside_visits()
    keys = {one.pk: (one.pk, opened_on, fitted, last) for one in bearings}
    found = {pk: _BEFORE[key] for pk, key in keys.items() if key in _BEFORE}
    missing = [one for one in bearings if one.pk not in found]
    if missing:
        for pk, made in _before_anew(missing, opened_on).items():
            _BEFORE[pk, opened_on, fitted, last] = made
            if pk in keys:
                found[pk] = made
    while len(_BEFORE) > _BEFORE_MOST:
        _BEFORE.popitem(last=False)
    return found


def _last_outside_visits() -> int | None:
    """The last entry that no visit holds: what is read, signed or decided in one changes nothing of what was
    known before it.
    """
    of_visits = {"decision", "forecast_relied_on"} | {
        one.name for one in all_kinds() if any(field.name == "visit" for field in one.fields)
    }
    others = Entry.objects.exclude(kind__in=of_visits)
    others = others.exclude(Exists(Visit.objects.filter(pk=OuterRef("thing"))))
    return others.order_by("-id").values_list("pk", flat=True).first()


def _before_anew(bearings: Sequence[Bearing], opened_on: dt.date) -> dict[UUID, Before]:
    """The same read from the record, with the other bearings of their pumps: a pump is judged whole."""
    population, codes, _ = parameters(opened_on, standing_run())
    read = inputs(whole_pumps(bearings), opened_on, codes, until=opened_on - dt.timedelta(days=1))
    figures = figures_of(read, population)
    reckoned = reckon(read, population, figures)
    made = {}
    for row, known in enumerate(read.known):
        params = population.pool(int(read.histories.clock[row])).designs[0]
        mean, sd = params.of_steps(np.asarray(read.histories.class_[row : row + 1]))
        pk = known.bearing.pk
        assert reckoned is not None
        made[pk] = Before(known, figures[pk], (float(mean[0]), float(sd[0])), reckoned.judgements[pk])
    return made


def limits_on(bearing: Bearing, day: dt.date, wear_class: Any = None) -> dict[tuple[str, str], float]:
    """(quantity, use) -> um in force on a day: the class's, the position's own before it."""
    found: dict[tuple[str, str], float] = {}
    owners = Q(bearing=bearing) | (Q(wear_class=wear_class) if wear_class else Q())
    held = Limit.objects.filter(owners).holding_on(day, "bearing_id", "quantity", "use")
    for (_, *key), limit in sorted(held.items(), key=lambda one: one[0][0] is not None):
        if limit.value_um is None:
            found.pop(tuple(key), None)
        else:
            found[tuple(key)] = float(limit.value_um)
    return found


def held_for(
    limits: Mapping[tuple[str, str], float],
    stage: str,
    work: str,
    quantity: str = "clearance",
    journal_um: Any = None,
) -> Held:
    """As left after new metal against the fitting range, else against both in-service
    limits, as found too.
    """

    def of(use: str) -> float | None:
        return limits.get((quantity, str(use)))

    if quantity == "wall":  # the wall shrinks as it wears: its limit is the least it may be
        return Held(of(LimitUse.IN_SERVICE_MIN) or of(LimitUse.REPLACE), None)
    most = float(TYPED.of(journal_um)[1]) if journal_um is not None and quantity == "clearance" else None
    if stage == Stage.AS_LEFT and work == NEW_METAL:
        return Held(of(LimitUse.FITTING_MIN), of(LimitUse.FITTING_MAX), "fitting range", most)
    return Held(of(LimitUse.IN_SERVICE_MIN), of(LimitUse.IN_SERVICE_MAX), most_um=most)


def expected_for(
    known: Before,
    limits: Mapping[tuple[str, str], float],
    stage: str,
    work: str,
    found: tuple[float, float] | None,
    n_scrapes: int = 1,
) -> Expected | None:
    """What is expected of a vertical clearance; `found` is (um, sd) as found at this station in this visit.

    `n_scrapes`: how often it was scraped in it, where `work` is a scrape; each takes the usual step.
    """
    step, step_sd = known.step[0] * n_scrapes, known.step[1] * math.sqrt(n_scrapes)
    if stage == Stage.AS_LEFT and work == NEW_METAL:
        return _fitting(limits) or _rule(known, limits)
    if stage == Stage.AS_LEFT and found:
        return after_scrape(*found, *((step, step_sd) if work == SCRAPED else (0.0, 0.0)))
    forecast = _forecast(known)
    if forecast and stage == Stage.AS_LEFT and work == SCRAPED:
        sd = (forecast.high_um - forecast.low_um) / (2 * EIGHT_IN_TEN)
        return after_scrape(forecast.mid_um, sd, step, step_sd)
    return forecast or _rule(known, limits)


def _forecast(known: Before) -> Expected | None:
    figures = known.figures
    low, middle, high = (figures[f"clearance_um_{q}"] for q in ("p10", "p50", "p90"))
    if low is None or middle is None or high is None or not figures["readings"]:
        return None
    last = known.known.last
    return Expected(low, middle, high, float((last.taper_um if last else None) or 0.0))


def _fitting(limits: Mapping[tuple[str, str], float]) -> Expected | None:
    low = limits.get(("clearance", str(LimitUse.FITTING_MIN)))
    high = limits.get(("clearance", str(LimitUse.FITTING_MAX)))
    return Expected(low, (low + high) / 2, high) if low is not None and high is not None else None


def _rule(known: Before, limits: Mapping[tuple[str, str], float]) -> Expected | None:
    """Without a forecast: by the journal, else by the limits, wide enough that only a gross slip is asked
    about.
    """
    facts = known.known.facts
    if facts and facts.journal_diameter_um is not None:
        journal = facts.journal_diameter_um
        low_um, high_um = ENTRY.of(journal)
        least, middle, most = float(low_um), float(journal * USUAL / 1000), float(high_um)
    else:
        low = limits.get(("clearance", str(LimitUse.FITTING_MIN))) or limits.get(
            ("clearance", str(LimitUse.FITTING_MAX))
        )
        high = limits.get(("clearance", str(LimitUse.IN_SERVICE_MAX))) or (low and 2.5 * low)
        if not high:
            return None
        low = low or high / 3
        least, middle, most = low / 2, (low + high) / 2, high * 2
    part = EIGHT_IN_TEN / FAR  # the whole range stands for 99.7 %
    return Expected(middle - (middle - least) * part, middle, middle + (most - middle) * part, rough=True)


def work_of(effects: Iterable[str]) -> str:
    """What was done to a bearing in a visit: new metal, scraped, or nothing that parts as
    found from as left.
    """
    all_of = set(effects)
    return NEW_METAL if NEW_LIFE in all_of else SCRAPED if STEP in all_of else ""


def last_at(known: Known, where: Station, quantity: str = "clearance") -> Measurement | None:
    """The last reading at a station before the visit; of the same end or of the whole bearing where there was
    none. A later clearance of the whole bearing goes before an older one of its end: what the shell read then
    is not what it last read.
    """
    seen = [m for m in known.story.measured if m.quantity == quantity and m.counts]
    if quantity == "clearance":
        near = [m for m in seen if m.end in ("", where.end) and m.clock in (None, where.clock)]
        newest = max((m.on for m in near), default=None)
        seen = [m for m in near if m.on == newest] or seen
    for fits in (
        lambda m: (m.end, m.clock) == (where.end, where.clock),
        lambda m: m.end == where.end,
        lambda m: True,
    ):
        some = [m for m in seen if fits(m)]
        if some:
            return max(some, key=lambda m: (m.on, m.stage == Stage.AS_LEFT, m.order))
    return None


@dataclass(frozen=True)
class Setup:
    """The unit and method the bearing is measured with, known and not asked."""

    unit: str
    method: str


def setup_of(bearing: Bearing, quantity: str = "clearance", unit: str = "") -> Setup:
    """As last at this bearing, else as last at this site, else as is usual for the quantity; `unit`: of the
    machine's book, which goes before the one last used (empty: it has none).
    """
    rows = Reading.objects.standing().filter(quantity=quantity)
    for some in (rows.filter(bearing=bearing), rows.filter(bearing__place__site=bearing.place.site_id)):
        last = some.order_by("-on", *LAST_FIRST).values_list("unit", "method").first()
        if last:
            return Setup(unit or last[0], last[1])
    return Setup(unit or "mm", usual_for(quantity))


def found_at(rows: Sequence[Reading], where: Station, sd_of: Any) -> tuple[float, float] | None:
    """(um, sd) as found at a station among a visit's readings."""
    some = [
        r
        for r in rows
        if r.stage == Stage.AS_FOUND
        and r.quantity == "clearance"
        and r.counts
        and r.value_um is not None
        and (r.end, r.clock) == (where.end, where.clock)
    ]
    return (float(some[-1].value_um or Decimal(0)), sd_of(some[-1])) if some else None
