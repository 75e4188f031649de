"""From the fleet's arrays to each bearing's figures: the engine asked once for all, its numbers named and
rounded.
"""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from inspections.forecasts.forecast_figures import BEYOND, QUANTILES, Figures
from inspections.forecasts.gauge_periods import Disagreement, as_figure, disagreements, labels_of
from inspections.forecasts.notes import notes
from inspections.forecasts.sudden_failures import NO_CLASS
from inspections.forecasts.wear_inputs import ACCEPTED_RISK, Inputs, Known, events_of
from inspections.story.observations import Observation
from inspections.wear.advice import ADVICE, OUTCOMES, REASONS, REPLACE_FROM
from inspections.wear.arrays import Histories
from inspections.wear.class_curves import WHOLE
from inspections.wear.forecast import Forecasts, forecast
from inspections.wear.normal import EIGHT_IN_TEN
from inspections.wear.population import Population

ENGINE = "15"
# Significant digits of a figure as it is stored, shown and hashed. The compiled and the plain numpy form of
# the engine differ by up to 3e-11 of a figure (measured), so that two of them round apart once in some ten
# thousand figures.
DIGITS = 6
HORIZON_DAYS = 40 * 365.25
STEADY_WITHIN = 0.1  # of 1: an exponent nearer to 1 moves no date by more than the dates' own doubt
WORTH_THREADS = 1000  # bearings from which a second thread gains more than it costs


def figures_of(
    known: Inputs,
    population: Population,
    *,
    threads: bool = False,
    sudden: Mapping[str, Mapping[str, Any]] = MappingProxyType({}),
) -> dict[uuid.UUID, Figures]:
    """Forecast bearings and put each one's figures together; bearings of sites that
    accept other risks apart. ``sudden``: what a run counted by site and class (`sudden_failures.by_site`).
    """
    found: dict[uuid.UUID, Figures] = {}
    likes = _likes(known.histories, population)
    gauges = _Gauges.of(known.histories, population)
    exponents = _exponents(known.histories, population)
    curved = _curved(known.histories, population)
    risks = np.array([one.accepted_risk for one in known.known])
    for risk in sorted(set(risks.tolist())) or [ACCEPTED_RISK]:
        chosen = np.flatnonzero(risks == risk)
        made = forecast(known.histories.take(chosen), population, accepted_risk=risk, threads=threads)
        for row, index in enumerate(chosen):
            one = known.known[int(index)]
            said = {"notes": notes(one, likes[int(index)])} | gauges.at(int(index)) | _sudden(one, sudden)
            said["exponent"], said["exponent_of"] = _own(made, row) or exponents[int(index)]
            said["peers_curved"] = curved[int(index)]
            found[one.bearing.pk] = Figures(_values(one, known.as_of, made, row, population.young) | said)
    return {one.bearing.pk: found[one.bearing.pk] for one in known.known}


def _exponents(h: Histories, population: Population) -> list[tuple[float | None, str | None]]:
    """For each bearing the exponent of a shell's age that its dates follow, where wear is not steady, and
    whose it is: its class's own or the fleet's.
    """
    found: list[tuple[float | None, str | None]] = [(None, None)] * h.n_bearings
    for clock in set(h.clock.tolist()):
        curve = population.pool(clock).designs[0].curve
        q = np.broadcast_to(curve.of(h.class_), h.n_bearings)
        own = np.isin(h.class_, [code for code, _ in curve.classes])
        for i in np.flatnonzero((h.clock == clock) & (np.abs(q - 1.0) >= STEADY_WITHIN)):
            found[i] = (round(float(q[i]), 2), "class" if own[i] else "fleet")
    return found


def _own(made: Forecasts, row: int) -> tuple[float, str] | None:
    """The exponent that a bearing's own record speaks for, where its dates weigh curves of its own."""
    exponent = float(made.own_exponent[row])
    return None if np.isnan(exponent) else (round(exponent, 2), "own")


def _curved(h: Histories, population: Population) -> list[str | None]:
    """For each bearing: whether its class, or the whole fleet, wears along another curve than its dates."""
    pools = {clock: population.pool(clock).curved for clock in set(h.clock.tolist())}
    return [
        "fleet" if WHOLE in pools[clock] else "class" if class_ in pools[clock] else None
        for clock, class_ in zip(h.clock.tolist(), h.class_.tolist(), strict=True)
    ]


def _sudden(one: Known, counted: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """What failed suddenly among the bearings of this class at this site; nothing where nothing did."""
    wear_class = one.facts.wear_class.name if one.facts and one.facts.wear_class else NO_CLASS
    told = counted.get(str(one.bearing.place.site_id), {}).get(wear_class)
    return {"sudden": {**told, "class": wear_class}} if told else {}


@dataclass(frozen=True)
class _Gauges:
    """Gauges that disagree with their peers, by their place among the histories' gauges,
    with their labels.
    """

    histories: Histories
    found: Mapping[int, Disagreement]
    labels: Mapping[uuid.UUID, str]

    @classmethod
    def of(cls, histories: Histories, population: Population) -> "_Gauges":
        known = disagreements(population)
        found = {
            place: known[period.name] for place, period in enumerate(histories.gauges) if period.name in known
        }
        return cls(histories, found, labels_of(found.values()))

    def at(self, i: int) -> dict[str, Any]:
        """What a bearing's figures say of them; nothing where none measured it."""
        own = self.histories.gauge[self.histories.start[i] : self.histories.start[i + 1]]
        mine = [place for place in self.found if np.any(own == place)]
        figures = [
            as_figure(self.found[k], self.labels.get(self.found[k].gauge, ""), int(np.sum(own == k)))
            for k in mine
        ]
        return {"gauges": figures} if figures else {}


def _likes(histories: Histories, population: Population) -> list[tuple[float, float]]:
    """(B,) how many times the fleet's median rate bearings like it wear, and the end of the 80 % interval
    nearer to 1.
    """
    found = [(1.0, 1.0)] * histories.n_bearings
    for pool in population.pools:
        chosen = np.flatnonzero(histories.clock == pool.clock)
        mean, variance = pool.designs[0].outlook(histories.take(chosen))
        away = mean - pool.designs[0].effect_mean[0]
        nearer = away - np.sign(away) * EIGHT_IN_TEN * np.sqrt(variance)
        for index, ratio, end in zip(chosen, np.exp(away), np.exp(nearer), strict=True):
            found[index] = (float(ratio), float(end))
    return found


def _values(one: Known, as_of: dt.date, made: Forecasts, i: int, young: bool) -> dict[str, Any]:
    values = (
        _of_record(one, as_of)
        | {
            "outcome": OUTCOMES[made.outcome[i]],
            "own_evidence": _number(made.own_evidence[i]),
            "replace_limit_um": _number(made.replace_limit_um[i]),
            "replace_limit_from": REPLACE_FROM[made.replace_limit_from[i]],
            "p_replace_now": _number(made.p_replace_now[i]),
            "p_max_now": _number(made.p_max_now[i]),
            "p_max_before_next_outage": _number(made.p_max_before_next[i]),
            "p_max_before_following_outage": _number(made.p_max_before_following[i]),
            "advice": ADVICE[made.advice[i]],
            "advice_reason": REASONS[made.advice_reason[i]],
            "scrapes_left": None if np.isnan(made.scrapes_left[i]) else int(made.scrapes_left[i]),
            "surprise": _number(made.surprise[i]),
            "slip_factor": _number(made.slip_factor[i]),
            "detectable_um_per_kh": _number(made.detectable_um_per_kh[i]),
            "population_young": young,
        }
        | _unwritten(one, made, i)
    )
    for at, quantile in enumerate(QUANTILES):
        values[f"replace_date_{quantile}"] = _date(as_of, _real(one, made.replace_days[i, at]))
        values[f"max_date_{quantile}"] = _date(as_of, _real(one, made.max_days[i, at]))
    for at, quantile in enumerate(("p10", "p50", "p90")):
        values[f"rate_um_per_kh_{quantile}"] = _number(made.rate_um_per_kh[i, at])
        values[f"clearance_um_{quantile}"] = _number(made.clearance_um[i, at])
    return values


def _unwritten(one: Known, made: Forecasts, i: int) -> dict[str, Any]:
    """Where a change that nobody wrote down is weighed: the days it lies between, and the chances of what it
    was.
    """
    if made.unwritten_at[i] < 0:
        return {}
    entries = events_of(one)
    at = int(made.unwritten_at[i])
    before = [entry for entry in entries[:at] if isinstance(entry, Observation)]
    return {
        "unwritten": [_number(share) for share in made.unwritten[i]],
        "unwritten_from": before[-1].on.isoformat() if before else None,
        "unwritten_until": entries[at].last_on.isoformat(),
    }


def _of_record(one: Known, as_of: dt.date) -> dict[str, Any]:
    """What comes from the record itself."""
    seen, last = one.story.clearances, one.last
    first, second = one.coming.first, one.coming.second
    limit, replace = one.limits.get("in_service_max"), one.limits.get("replace")
    next_on, following_on = (as_of + dt.timedelta(days=int(days)) for days in one.coming.days)
    return {
        "site": one.bearing.place.site.name,
        "pump": one.bearing.place.tag,
        "position": one.bearing.name,
        "as_of": as_of.isoformat(),
        "readings": sum(len(observation.readings) for observation in seen),
        "last_reading_on": last.on.isoformat() if last else None,
        "last_reading_um": _number(last.larger_um) if last else None,
        "exposure": one.run.clock,
        "in_service_max_um": _number(one.limit_um("in_service_max")),
        "new_um": _number(one.limit_um("fitting_max")),
        "next_outage": first.name if first else None,
        "next_outage_on": next_on.isoformat(),
        "following_outage": second.name if second else None,
        "following_outage_on": following_on.isoformat(),
        "outages_known": one.coming.n_known,
        "hours_per_day": _number(one.hours_ahead),
        "class": one.facts.wear_class.name if one.facts and one.facts.wear_class else None,
        "n_set_aside": one.story.n_set_aside,
        "limit_authority": limit.get_authority_display() if limit else "",
        "limit_document": limit.document if limit else "",
        "twin": one.place.twin if one.place else "",
        "replace_authority": replace.get_authority_display() if replace else "",
    }


def _number(value: Any) -> float | None:
    """A finite float, rounded to `DIGITS` significant digits, or None."""
    return float(f"{value:.{DIGITS}g}") if value is not None and np.isfinite(value) else None


def _real(one: Known, even_days: float) -> float:
    """Days by the calendar, where the duty ahead is planned."""
    return float(one.ahead.real(even_days)) if one.ahead else even_days


def _date(as_of: dt.date, days: float) -> str | None:
    if np.isnan(days):
        return None
    if days > HORIZON_DAYS:
        return BEYOND
    return (as_of + dt.timedelta(days=int(max(days, 0.0)))).isoformat()
