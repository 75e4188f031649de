"""Rows into arrays: what the record says of many bearings, as the wear engine takes it."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Q

from fleet.measuring_methods import NOT_NAMED, Spread
from fleet.models import (
    Bearing,
    BearingFacts,
    Limit,
    LimitUse,
    PlaceFacts,
    PlannedDuty,
    Setting,
    Site,
)
from fleet.models.plant import SettingsRead
from inspections.forecasts.codes import Codes
from inspections.forecasts.coming_outages import Coming, coming_of, outages_by_site, outages_since
from inspections.forecasts.gauge_periods import checks_of
from inspections.forecasts.planned_duty import Ahead, Period, planned
from inspections.story import exposure
from inspections.story.effect_of_work import (
    NEW_BASELINE,
    NEW_LIFE,
    OPENED,
    RATE_BREAK,
    STEP,
    UNSURE,
    Happening,
)
from inspections.story.measured_again import is_confirmed
from inspections.story.measuring_conditions import exceptions_um
from inspections.story.observations import Observation
from inspections.story.register_fittings import shells_fitted, with_fittings
from inspections.story.season import Season, seasonal_duty
from inspections.story.timeline import Story, stories
from inspections.story.uncertainty import SETTING as SPREADS
from inspections.story.uncertainty import spreads, wear_methods
from inspections.story.wear_series import (
    Lining,
    Zeros,
    because_bad,
    copied,
    feeds_wear,
    known_um,
    lining_left,
)
from inspections.wear.arrays import BEARING_FIELDS, USUAL_OUTAGE_DAYS, GaugePeriod, Histories, Kind, build
from inspections.wear.duty_drift import learned_drift

CLOCKS = (exposure.RUN_HOURS, exposure.STATED_DUTY, exposure.CALENDAR)
KINDS = {
    STEP: Kind.SCRAPE,
    NEW_LIFE: Kind.NEW_LIFE,
    NEW_BASELINE: Kind.NEW_BASELINE,
    RATE_BREAK: Kind.RATE_BREAK,
    UNSURE: Kind.UNSURE,
}
# Duty ahead where a meter shows no spread of its own: a design assumption with no published source.
DUTY_SD = 0.10  # sd of the log of the hours a day
# A reading known only to the month or year is uncertain by the wear of that time, at a typical rate.
TYPICAL_UM_PER_KH = 2.0
ACCEPTED_RISK = 0.10
CHOICES = ("usual_outage_interval_days", "accepted_risk")


Periods = Mapping[tuple[UUID, dt.date], GaugePeriod]


@dataclass(frozen=True)
class Known:
    """What the record says of one bearing on a day, beside its story."""

    bearing: Bearing
    story: Story
    facts: BearingFacts | None
    place: PlaceFacts | None
    limits: Mapping[str, Limit]
    run: exposure.Exposure
    coming: Coming
    hours_per_day: float
    accepted_risk: float
    as_of: dt.date
    n_outages_since: float = 0.0
    starts: exposure.Starts | None = None
    ahead: Ahead | None = None
    usual_interval_days: float = USUAL_OUTAGE_DAYS
    spreads: Mapping[str, Spread] = field(default_factory=dict)  # what each method can be trusted to here
    season: Season | None = None
    duty_log_sd: float = float("nan")  # of the hours a day, what the season explains taken out

    def limit_um(self, use: str) -> float:
        limit = self.limits.get(use)
        return float(limit.value_um) if limit and limit.value_um is not None else float("nan")

    @property
    def hours_ahead(self) -> float:
        """Hours a day that the days ahead are counted with: as planned, else as of late."""
        return self.ahead.mean if self.ahead else self.hours_per_day

    def even_days(self, days: Any) -> Any:
        """Days ahead as the engine counts them: of the even duty, in which as many hours are run."""
        return self.ahead.even(days) if self.ahead else np.asarray(days, dtype=float)

    @property
    def last(self) -> Observation | None:
        seen = self.story.clearances
        return seen[-1] if seen else None


@dataclass(frozen=True)
class Inputs:
    """Many bearings as known on a day, and as arrays; `until`: the last day of which their record is read."""

    as_of: dt.date
    until: dt.date
    known: Sequence[Known]
    histories: Histories


def inputs(bearings: Sequence[Bearing], as_of: dt.date, codes: Codes, until: dt.date | None = None) -> Inputs:
    """What the wear engine takes of these bearings on a day, with a constant number of queries.

    Parameters
    ----------
    bearings : sequence of Bearing, with place and site fetched
    as_of : date
        only what had happened by that day.
    codes : Codes
        is added to where a word is new.
    until : date, optional
        only what had happened at the bearings by that day, where it is earlier: looked at from `as_of` all
        the same.
    """
    last = until or as_of
    return _laid_out(_gather(bearings, as_of, last), as_of, codes, last)


def fleet_inputs(as_of: dt.date, codes: Codes) -> Inputs:
    """The same of every bearing there is; the codes learn from the meters how fast duties wander."""
    known = _gather(list(Bearing.objects.standing().in_order()), as_of)
    meters = {one.bearing.place_id: one.run for one in known if one.run.clock == exposure.RUN_HOURS}
    codes.duty_drift = learned_drift([(run.days, run.hours) for run in meters.values()])
    return _laid_out(known, as_of, codes, as_of)


def known_on(bearings: Sequence[Bearing], as_of: dt.date) -> list[Known]:
    """What the record says of these bearings on a day, in their order, with a constant number of queries."""
    return _gather(bearings, as_of)


def _laid_out(known: Sequence[Known], as_of: dt.date, codes: Codes, until: dt.date) -> Inputs:
    spread = known[0].spreads if known else {}
    names = {one.method for k in known for one in steps_of(k) if isinstance(one, Observation)}
    methods = wear_methods(names | {""}, spread)
    periods = _gauge_periods(known, as_of)
    rows = [(_facts(one, as_of, codes), _events(one, periods)) for one in known]
    gauges = sorted(set(periods.values()), key=lambda period: period.name)
    return Inputs(as_of, until, known, build(rows, methods, gauges))


def _gauge_periods(known: Sequence[Known], as_of: dt.date) -> Periods:
    """By gauge and day of the clearances measured with it: the gauge's period between two checks."""
    seen = [one for k in known for one in steps_of(k) if isinstance(one, Observation)]
    used = {(one.instrument, one.on) for one in seen if one.instrument and one.series == "clearance"}
    checks = checks_of({gauge for gauge, _ in used}, as_of)
    return {(gauge, on): checks.period(gauge, on) for gauge, on in used}


def renewed(known: Inputs) -> Histories:
    """The same bearings as if each had new metal fitted on the day: what a new shell would do there."""
    methods, gauges = known.histories.methods, known.histories.gauges
    periods = _gauge_periods(known.known, known.as_of)
    rows = []
    for i, one in enumerate(known.known):
        facts = {name: getattr(known.histories, name)[i] for name in BEARING_FIELDS}
        facts["outage_days"] = known.histories.outage_days[i]
        new = {"kind": Kind.NEW_LIFE, "exposure_kh": float(known.histories.now_kh[i])}
        rows.append((facts, [*_events(one, periods), new]))
    return build(rows, methods, gauges)


def _gather(bearings: Sequence[Bearing], as_of: dt.date, until: dt.date | None = None) -> list[Known]:
    ids = [bearing.pk for bearing in bearings]
    told = stories(ids, until or as_of, {bearing.pk: bearing.place_id for bearing in bearings})
    some = {"bearing__in": ids} if len(ids) <= 5000 else {}
    facts = BearingFacts.objects.filter(**some).select_related("wear_class").holding_on(as_of, "bearing_id")
    places = {bearing.place_id for bearing in bearings}
    of_places = PlaceFacts.objects.filter(**({"place__in": places} if some else {})).holding_on(
        as_of, "place_id"
    )
    limits = _limits(as_of, some)
    fitted = shells_fitted(as_of, some)
    outages = outages_by_site()
    plans = _planned(places if some else None, as_of)
    settings = SettingsRead(Setting.objects.standing().filter(name__in=(SPREADS, *CHOICES)))
    spread = spreads(as_of, settings)
    sites = {bearing.place.site_id: bearing.place.site for bearing in bearings}
    choices = _settings(sites.values(), as_of, settings)
    known = []
    for bearing in bearings:
        own, place = facts.get(bearing.pk), of_places.get(bearing.place_id)
        story = with_fittings(
            told[bearing.pk], fitted.get(bearing.pk, []), own.load_side if own else "bottom"
        )
        interval, risk = choices[bearing.place.site_id]
        past, coming = coming_of(
            outages.get(bearing.place.site_id, []), bearing, place, story, as_of, interval
        )
        stated = float(place.duty_hours_per_day) if place and place.duty_hours_per_day is not None else None
        run = exposure.cumulative(story.meter, stated_duty=stated, changed=story.changed)
        plan, (season, recent, spread_of_duty) = plans[bearing.place_id], seasonal_duty(run, as_of)
        duty = stated if stated is not None else recent
        own_limits = limits.get(bearing.pk, {})
        if own and own.wear_class_id:
            own_limits = limits.get(own.wear_class_id, {}) | own_limits
        since = outages_since(story, past, as_of, interval)
        starts = exposure.starts_counted(story.meter, run)
        known.append(
            Known(
                bearing,
                story,
                own,
                place,
                own_limits,
                run,
                coming,
                duty,
                risk,
                as_of,
                since,
                starts,
                # Where wear is counted by the calendar alone, hours of a plan say nothing of it.
                None if run.clock == exposure.CALENDAR else planned(plan, as_of, duty, season),
                interval,
                spread,
                season,
                spread_of_duty,
            )
        )
    return known


def _limits(as_of: dt.date, some: dict[str, Any]) -> dict[UUID, dict[str, Limit]]:
    """By bearing or class, then by use: the clearance limits in force."""
    found: dict[UUID, dict[str, Limit]] = defaultdict(dict)
    rows = Limit.objects.filter(quantity__in=("clearance", "lining"))
    if some:
        rows = rows.filter(Q(**some) | Q(wear_class__isnull=False))
    # A limit is of a bearing or of a class, never of both.
    for (bearing, of_class, use), limit in rows.holding_on(
        as_of, "bearing_id", "wear_class_id", "use"
    ).items():
        found[bearing or of_class][use] = limit
    return found


def _planned(places: set[UUID] | None, as_of: dt.date) -> dict[UUID, list[Period]]:
    """By place: the duty that was planned, as it had been recorded by the day (with a day's grace for time
    zones).
    """
    rows = PlannedDuty.objects.standing().filter(recorded_at__date__lte=as_of + dt.timedelta(days=1))
    rows = rows.filter(Q(until_on__isnull=True) | Q(until_on__gte=as_of))
    if places is not None:
        rows = rows.filter(place__in=places)
    found: dict[UUID, list[Period]] = defaultdict(list)
    for place, first, last, per_day, starts in rows.values_list(
        "place_id", "from_on", "until_on", "hours_per_day", "starts_per_day"
    ):
        n = None if starts is None else float(starts)
        found[place].append(Period(first, last, float(per_day), n))
    return found


def _settings(
    sites: Iterable[Site], as_of: dt.date, settings: SettingsRead
) -> dict[UUID, tuple[float, float]]:
    """By site: the usual interval between outages in days, and the accepted risk."""

    def value(site: Site, name: str, default: float) -> float:
        held = settings.in_force(name, site, as_of)
        return default if held is None else float(held)

    interval, risk = CHOICES
    return {
        site.pk: (value(site, interval, USUAL_OUTAGE_DAYS), value(site, risk, ACCEPTED_RISK))
        for site in sites
    }


def _facts(one: Known, as_of: dt.date, codes: Codes) -> dict[str, Any]:
    """A bearing's own values under the engine's field names."""
    low, high = one.limit_um(LimitUse.FITTING_MIN), one.limit_um(LimitUse.FITTING_MAX)
    only = high if np.isnan(low) else low
    both = not (np.isnan(low) or np.isnan(high))
    spread = one.duty_log_sd
    measured = one.run.clock == exposure.RUN_HOURS
    calendar = one.run.clock == exposure.CALENDAR
    lining = lining_of(one)
    starts = one.starts.per_hour if one.starts else float("nan")
    if one.starts and one.ahead and one.ahead.starts_per_hour is not None:
        starts = one.ahead.starts_per_hour
    return {
        "lining_left_um": lining.left_um if lining else float("nan"),
        "lining_at_kh": float(one.run.at(_middle(lining.seen))) / 1000.0 if lining else float("nan"),
        "lining_scrapes": lining.n_scrapes if lining else 0,
        "fresh": False,  # a life that begins with new metal says so by an event
        "fitting_um": (low + high) / 2 if both else only,
        "fitting_half_um": (high - low) / 2 if both else float("nan"),
        "limit_um": one.limit_um(LimitUse.IN_SERVICE_MAX),
        "replace_um": one.limit_um(LimitUse.REPLACE),
        "class_": codes.of(
            "class_", str(one.facts.wear_class_id) if one.facts and one.facts.wear_class_id else ""
        ),
        "site": codes.of("site", str(one.bearing.place.site_id)),
        "service": codes.of("service", one.place.service if one.place else ""),
        "position": codes.of("position", one.bearing.folded),
        "clock": CLOCKS.index(one.run.clock),
        "now_kh": float(one.run.at(as_of.toordinal())) / 1000.0,
        "starts_per_hour": starts,
        "hours_per_day": max(one.hours_ahead, exposure.LEAST_HOURS_A_DAY),
        "duty_sd": 0.0 if calendar else (spread if measured and np.isfinite(spread) else DUTY_SD),
        "duty_drift": 0.0 if calendar else codes.drift_at(one.hours_ahead),
        "outage_days": tuple(one.even_days(one.coming.days).tolist()),
        "scrape_owed": one.story.contact_stands_open,
        "scrapeable": bool(one.facts and one.facts.scrapeable),  # not known is not yes
        "last_reading_age_outages": one.n_outages_since,
        "last_confirmed": _last_confirmed(one),
    }


def _last_confirmed(one: Known) -> bool:
    """Whether the last reading that the engine is told was measured again and stood."""
    told = [entry for entry in steps_of(one) if isinstance(entry, Observation)]
    return bool(told) and is_confirmed(told[-1], one.story.measured, one.spreads)


def steps_of(one: Known) -> list[Observation | Happening]:
    """The entries of a bearing's story that say something of its wear, in order."""
    return [entry for entry in one.story.entries if _matters(entry, one.story.load_side)]


def events_of(one: Known) -> list[Observation | Happening]:
    """What the wear engine is told, in order: the steps, and why each visit was made
    before the first of it.
    """
    told: list[Observation | Happening] = []
    seen: set[UUID] = set()
    for entry in steps_of(one):
        visit = one.story.visits.get(entry.visit) if entry.visit else None
        if visit and visit.id not in seen and because_bad(visit.why) is not None:
            told.append(_opening(entry, visit.why))
        if entry.visit:
            seen.add(entry.visit)
        told.append(entry)
    return told


def _opening(first: Observation | Happening, why: str) -> Happening:
    """The beginning of a visit whose reason is known."""
    return Happening(
        first.visit or UUID(int=0),
        first.on,
        first.last_on,
        first.precision,
        first.visit,
        0,
        OPENED,
        OPENED,
        "",
        "",
        why,
        "",
        None,
        "",
        False,
        "",
    )


def lining_of(one: Known) -> Lining | None:
    """What is left of the lining, where the wall was measured."""
    facts, least = one.facts, one.limits.get(LimitUse.LINING_MIN)
    return lining_left(
        one.story.entries,
        one.story.load_side,
        wall_new=known_um(facts.wall_new_um if facts else None),
        lining_new=known_um(facts.lining_new_um if facts else None),
        lining_min=known_um(least.value_um if least else None),
    )


def _middle(entry: Observation | Happening) -> float:
    return (entry.on.toordinal() + entry.last_on.toordinal()) / 2


def _events(one: Known, periods: Periods) -> list[dict[str, Any]]:
    """A bearing's story as events in order, each at its exposure and with its gauge's period."""
    chosen = events_of(one)
    middles = [_middle(entry) for entry in chosen]
    # Order wins over days known roughly: the exposure never runs back.
    exposures: Any = np.maximum.accumulate(one.run.at(middles)) / 1000.0 if chosen else []
    zeros, aside = Zeros.none(), {id(entry) for entry in copied(chosen, one.spreads)}
    rows = [
        _event(entry, float(kh), one, zeros) | _gauge(entry, periods)
        for entry, kh in zip(chosen, exposures, strict=True)
    ]
    # A reading that looks copied is no reading: left to the engineer, never fitted as "no wear".
    rows = [
        row | {"method": -1} if id(entry) in aside else row for entry, row in zip(chosen, rows, strict=True)
    ]
    if one.starts and chosen:
        thousands = np.maximum.accumulate(one.starts.at(middles, one.run)) / 1000.0
        rows = [row | {"starts_k": float(n)} for row, n in zip(rows, thousands, strict=True)]
    return rows


def _gauge(entry: Observation | Happening, periods: Periods) -> dict[str, Any]:
    """The period of the gauge that a clearance was measured with, by its name; nothing
    where none is named.
    """
    if isinstance(entry, Happening) or entry.series != "clearance" or entry.instrument is None:
        return {}
    return {"gauge": periods[entry.instrument, entry.on].name}


def _matters(entry: Observation | Happening, load_side: str) -> bool:
    if isinstance(entry, Observation):
        return feeds_wear(entry, load_side)
    return entry.effect in KINDS


def _event(entry: Observation | Happening, exposure_kh: float, one: Known, zeros: Zeros) -> dict[str, Any]:
    if isinstance(entry, Happening):
        if entry.effect == OPENED:
            return {"kind": Kind.OPENED, "exposure_kh": exposure_kh, "value_um": because_bad(entry.reason)}
        if entry.effect == NEW_LIFE:
            zeros.renew()
        return {"kind": KINDS[entry.effect], "exposure_kh": exposure_kh}
    rough_kh = (entry.last_on - entry.on).days * one.hours_per_day / 1000.0 / np.sqrt(12.0)
    event: dict[str, Any] = {
        "exposure_kh": exposure_kh,
        "method": entry.method or "",
        "extra_sd_um": float(
            np.linalg.norm([rough_kh * TYPICAL_UM_PER_KH, *exceptions_um(entry.conditions)])
        ),
    }
    if entry.series != "clearance":
        number, fall = zeros.fall(entry)
        return event | {"kind": Kind.DROP, "zero": number, "value_um": fall}
    if entry.is_interval:
        low, high = entry.low_um, entry.high_um
        return event | {
            "kind": Kind.INTERVAL,
            "low_um": -np.inf if low is None else low,
            "high_um": np.inf if high is None else high,
        }
    taper = float("nan") if entry.taper_um is None else entry.taper_um
    return event | {"kind": Kind.READING, "value_um": entry.value_um, "taper_um": taper}


def sd_of(entry: Observation, known_spreads: Mapping[str, Any]) -> float:
    """The stated standard uncertainty of one observation, um."""
    sd_um: float = known_spreads.get(entry.method, NOT_NAMED).sd_um
    return sd_um
