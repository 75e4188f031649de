"""From the record to judgements: beliefs, terms and outages of many bearings put to the one rule
(`wear.decision`).
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from fleet.measuring_methods import BEST
from inspections.forecasts.computation import _number
from inspections.forecasts.forecast_figures import Figures, figures_hash
from inspections.forecasts.judgement.judgement_figures import (
    ALWAYS,
    LINING,
    MAXIMUM,
    NEVER,
    READING,
    REPLACE,
    TRIGGER_FROM,
    Column,
    Judgement,
    Why,
    Word,
)
from inspections.forecasts.judgement.plant_prices import Plant, plant_of
from inspections.forecasts.judgement.when import (
    LEAST_COLUMNS,
    Chance,
    closed_up,
    days_to,
    filled,
    of_pump,
    open_since,
    outages_from,
)
from inspections.forecasts.wear_inputs import Inputs, Known
from inspections.story.exposure import LEAST_HOURS_A_DAY
from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.decision import (
    NO_LIFE,
    NO_MAXIMUM,
    PAST,
    Decision,
    Openings,
    Outages,
    Ruling,
    Terms,
    decide,
    ruling,
    terms,
)
from inspections.wear.decision import Word as Code
from inspections.wear.population import Population
from inspections.wear.present_beliefs import Standing, standing
from inspections.wear.verdict_at_limit import guard_band_um

WORDS = {
    Code.SET_LIMIT: Word.SET_LIMIT,
    Code.LEAVE: Word.LEAVE,
    Code.OPEN: Word.OPEN,
    Code.DECIDE_NOW: Word.DECIDE_NOW,
}


@dataclass(frozen=True)
class Times:
    """Columns of B bearings: ``chances`` of each, (B, T + 1) ``days`` of even duty and ``kh``, (B, T)
    ``intervals``.
    """

    chances: Sequence[Sequence[Chance]]
    days: FloatArray
    kh: FloatArray
    intervals: FloatArray
    interval_kh: FloatArray


@dataclass(frozen=True)
class Reckoned:
    """Everything a plan needs besides the judgements: the decision, its terms, and whose bearings they are.

    ``pump`` (B,) row of each bearing's pump, ``places`` (P,) of the pumps, ``open_h`` (P,).
    """

    known: Sequence[Known]
    judgements: Mapping[UUID, Judgement]
    decision: Decision
    terms: Terms
    times: Times
    pump: IntArray
    places: tuple[UUID, ...]
    open_h: FloatArray


def reckon(
    record: Inputs,
    population: Population,
    figures: Mapping[UUID, Figures],
    supposed: Mapping[UUID, float] | None = None,
) -> Reckoned | None:
    """Judge all bearings of a record; every pump with all its bearings. None where there is none.

    Parameters
    ----------
    record : Inputs
        as the forecast took it, whole pumps.
    figures : mapping
        each bearing's forecast, whose outcome says what cannot be decided on and whose hash is kept.
    supposed : mapping, optional
        um by bearing: its level as if it read so today, with the error of a reading, its rate as believed
        before.
    """
    known = record.known
    if not known:
        return None
    plant = plant_of(known, record.as_of)
    places = tuple(dict.fromkeys(one.bearing.place_id for one in known))
    row = {place: i for i, place in enumerate(places)}
    pump = np.array([row[one.bearing.place_id] for one in known], dtype=np.int64)
    times = _times(record, pump)
    rows = [figures[one.bearing.pk] for one in known]
    limit, stands_in = _limits(known, rows)
    exposures = np.concatenate([np.zeros((len(known), 1)), times.kh], axis=1)
    days = np.concatenate([np.zeros((len(known), 1)), times.days[:, :-1]], axis=1)
    sd = known[0].spreads[BEST].sd_um
    held = standing(record.histories, population, days, exposures, limit, sd)
    if supposed:
        held = _supposing(held, known, supposed)
    t = _terms(known, plant, held, times, pump)
    dear_h = np.array([t.open_h[pump == i].max() for i in range(len(places))])
    besides = np.array([plant.opening_extra_h(one) for one in known])
    extra_h = np.array([besides[pump == i].max() for i in range(len(places))])
    open_h = dear_h - extra_h
    fits = np.array([not _misfit(figure) for figure in rows])
    contact = np.array([one.story.contact_stands_open for one in known])
    stop = np.full(len(places), np.nan)
    stated = [plant.stop_h(one) for one in known]
    for i, value in enumerate(stated):
        stop[pump[i]] = np.nan if value is None else value
    d = decide(
        held.belief, t, _outages(held.worn, times), pump, dear_h, stop_h=stop, contact_open=contact, fits=fits
    )
    ruled = _ruled(known, d.openings, t, stands_in)
    today = _ruled(known, d.now, t, stands_in)[0]
    made = _Made(known, rows, held, t, times, pump, d, ruled, today, fits, contact, stop, open_h, extra_h)
    opened = open_since({one.bearing.place.site_id for one in known}, record.until)
    judgements = {
        one.bearing.pk: made.judgement(i, record.as_of, stands_in[i]).with_pump_open(
            opened.get(one.bearing.place_id)
        )
        for i, one in enumerate(known)
    }
    return Reckoned(known, judgements, d, t, times, pump, places, open_h)


def _supposing(held: Standing, known: Sequence[Known], supposed: Mapping[UUID, float]) -> Standing:
    """The same as if some bearings were read today at so many um."""
    read = np.array([supposed.get(one.bearing.pk, np.nan) for one in known])[:, None]
    level = np.where(np.isfinite(read), read, held.level)
    variance = np.where(np.isfinite(read), held.reading_sd_um[:, None] ** 2, held.variance)
    moved = replace(held, level=level, variance=variance)
    with np.errstate(invalid="ignore"):
        past = moved.belief.past(moved.limit_um, moved.worn[:, : held.chance.shape[1]])
    return replace(moved, chance=np.where(np.isfinite(read), past, held.chance))


def _misfit(figures: Figures) -> bool:
    return "misfit" in (figures["outcome"], figures["advice_reason"])


def _limits(known: Sequence[Known], rows: Sequence[Figures]) -> tuple[FloatArray, list[bool]]:
    """(B,) the maximum, or the plant's replace limit where none is stated; whether it does. NaN where the
    fleet is young.
    """
    maximum = np.array([one.limit_um("in_service_max") for one in known])
    plants = np.array([one.limit_um("replace") for one in known])
    maximum, plants = (np.where(a > 0, a, np.nan) for a in (maximum, plants))
    young = np.array([figure["outcome"] == "cannot_say" for figure in rows])
    limit = np.where(np.isfinite(maximum), maximum, plants)
    return np.where(young, np.nan, limit), (~np.isfinite(maximum) & np.isfinite(plants)).tolist()


def _times(record: Inputs, pump: IntArray) -> Times:
    """Columns of every bearing, the same number for all."""
    known, as_of = record.known, record.as_of
    outages = outages_from({one.bearing.place.site_id for one in known}, as_of)
    members: dict[int, list[Known]] = {}
    for i, one in zip(pump.tolist(), known, strict=True):
        members.setdefault(i, []).append(one)
    closed = closed_up(chain.from_iterable(outages.values()), record.until)
    own = {
        i: of_pump(outages.get(m[0].bearing.place.site_id, []), m, closed.get(m[0].bearing.place_id))
        for i, m in members.items()
    }
    columns = max([LEAST_COLUMNS, *(len(c) + 1 for c in own.values())])
    chances = [
        filled(own[i], as_of, one.usual_interval_days, columns)
        for i, one in zip(pump.tolist(), known, strict=True)
    ]
    real = np.array([days_to(c, as_of) for c in chances])
    days = np.array([one.even_days(real[i]) for i, one in enumerate(known)], dtype=np.float64)
    hours = np.array([np.clip(one.hours_ahead, LEAST_HOURS_A_DAY, 24.0) for one in known])
    usual = np.array([one.usual_interval_days for one in known])
    return Times(
        chances, days, days * hours[:, None] / 1000.0, real[:, :-1] / usual[:, None], usual * hours / 1000.0
    )


def _outages(worn: FloatArray, times: Times) -> Outages:
    """The columns as the rule takes them; opening at once is opening today."""
    begins = worn[:, 1:]
    none = np.zeros(len(worn))
    return Outages(begins[:, :-1], np.diff(begins, axis=1), times.intervals, none, begins[:, 0], none)


def _terms(known: Sequence[Known], plant: Plant, held: Standing, times: Times, pump: IntArray) -> Terms:
    hours = [plant.hours_of(one) for one in known]
    limit = np.where(held.limit_um > 0, held.limit_um, np.nan)
    new = np.where(
        np.isfinite(held.new_um) & (held.new_um > 0), held.new_um, 0.5 * np.nan_to_num(limit, nan=200.0)
    )
    return terms(
        len(known),
        limit_um=limit,
        new_um=new,
        new_sd_um=np.nan_to_num(held.new_sd_um),
        reading_sd_um=np.maximum(held.reading_sd_um, 0.5),
        interval_kh=times.interval_kh,
        log_rate=np.nan_to_num(held.log_rate),
        spread=held.spread,
        memory=np.clip(held.memory, 0.0, 1.0),
        unevenness_um=held.class_unevenness,
        scrape_um=np.maximum(held.scrape_um, 0.0),
        scrape_sd_um=held.scrape_sd_um,
        bearings=np.bincount(pump)[pump],
        open_h=[h.open_h + plant.opening_extra_h(one) for h, one in zip(hours, known, strict=True)],
        measure_h=[h.measure_h for h in hours],
        scrape_h=[h.scrape_h for h in hours],
        replace_h=[h.replace_h for h in hours],
        shell_h=[plant.shell_h(one) for one in known],
        accepted_risk=[plant.risk_of(one) for one in known],
        consequence=[plant.consequence_of(one) for one in known],
        infant=[plant.infant(one) for one in known],
        exponent=held.exponent,
        exponent_at_kh=held.exponent_at_kh,
    )


def _ruled(known: Sequence[Known], o: Openings, t: Terms, stands_in: Sequence[bool]) -> list[Ruling]:
    """What is printed at each column: the lower of the rule, the plant's own limit and the maximum less its
    guard band.
    """
    plants = np.array(
        [
            float("nan") if stands else one.limit_um("replace")
            for one, stands in zip(known, stands_in, strict=True)
        ]
    )
    guard = np.array([guard_band_um(float(sd)) for sd in t.reading_sd_um])
    columns = range(o.trigger_um.shape[1])
    return [ruling(o.trigger_um[:, k], o.scrape_from_um[:, k], t, plants, guard) for k in columns]


def _state(reading_um: float) -> str:
    """How a trigger is said: a reading, whatever is read, or none that may be expected."""
    return READING if np.isfinite(reading_um) else ALWAYS if reading_um < 0 else NEVER


@dataclass(frozen=True)
class _Made:
    """Everything that was worked out, to be taken apart bearing by bearing."""

    known: Sequence[Known]
    figures: Sequence[Figures]
    held: Standing
    terms: Terms
    times: Times
    pump: IntArray
    decision: Decision
    ruled: Sequence[Ruling]
    ruled_today: Ruling
    fits: NDArray[np.bool_]
    contact: NDArray[np.bool_]
    stop: FloatArray
    open_h: FloatArray
    extra_h: FloatArray  # (P,) what an opening costs besides its crew's hours

    def judgement(self, i: int, as_of: Any, stands_in: bool) -> Judgement:
        """One bearing's."""
        d, t, pump = self.decision, self.terms, int(self.pump[i])
        word, why = self._word(i)
        first = int(d.first[pump]) if word not in (Word.SET_LIMIT, Word.ENGINEER) else None
        if why == Why.MISFIT:
            first = 0
        stop = self.stop[pump]
        return Judgement(
            as_of=as_of,
            word=word,
            why=why,
            columns=tuple(self._column(i, k) for k in range(len(self.ruled))),
            opened_today=self._today(i, as_of),
            first=first,
            due=int(d.pumps.due[pump]) if first is not None else None,
            limit_um=_number(t.limit_um[i]),
            limit_from=LINING if self.held.by_lining[i] else REPLACE if stands_in else MAXIMUM,
            new_um=_number(t.new_um[i]),
            accepted_risk=_number(t.accepted[i]),
            consequence=float(t.consequence[i]),
            price_h=_number(t.price_h[i]),
            past_now=_number(self.held.chance[i, 0]),
            stopping_h=_number(d.stopping_h[pump]),
            stop_h=_number(stop),
            open_h=_number(self.open_h[pump]),
            again_h=_number(d.pumps.again_h[pump] - self.extra_h[pump]),
            again_new=_number(d.pumps.again_new[i]),
            contact_open=bool(self.contact[i]),
            forecast_hash=figures_hash(self.figures[i]),
        )

    def _word(self, i: int) -> tuple[str, str]:
        """The word and what it rests on, the first that holds."""
        d, pump = self.decision, int(self.pump[i])
        if self.figures[i]["outcome"] == "cannot_say":
            return Word.ENGINEER, Why.YOUNG
        if self.terms.standing[i] == NO_MAXIMUM:
            return Word.SET_LIMIT, Why.NO_MAXIMUM
        if self.terms.standing[i] == NO_LIFE:
            return Word.SET_LIMIT, Why.NO_LIFE
        if self.held.chance[i, 0] >= PAST:
            return Word.DECIDE_NOW, Why.PAST
        code = Code(int(d.word[i]))
        if not self.fits[i] or code == Code.SET_LIMIT:
            return Word.ENGINEER, Why.MISFIT
        if code == Code.DECIDE_NOW:
            return Word.DECIDE_NOW, Why.EARLY
        if code == Code.OPEN and d.pumps.by_rule[pump]:
            return Word.OPEN, Why.BESIDE
        if code == Code.OPEN and self.contact[self.pump == pump].any():
            return Word.OPEN, Why.CONTACT
        due = int(d.pumps.due[pump]) <= int(d.first[pump])
        return WORDS[code], Why.DUE if due else Why.COST

    def _column(self, i: int, k: int) -> Column:
        """One bearing at one outage."""
        d, pump = self.decision, int(self.pump[i])
        chance, waits = self.times.chances[i][k], d.pumps.waiting_h
        when = Column(chance.name, chance.outage, chance.start_on, chance.end_on, chance.known)
        return replace(
            self._opened(when, i, k, d.openings, self.ruled[k]),
            past=_number(self.held.chance[i, k + 1]),
            cost_h=_number(d.pumps.cost[pump, k]),
            waiting_h=_number(waits[pump, k]) if k < waits.shape[1] else None,
            again=tuple(round(float(n), 3) for n in d.pumps.reopening[pump, k]),
        )

    def _today(self, i: int, as_of: dt.date) -> Column:
        """One bearing where its pump is opened on the day itself."""
        when = self._opened(Column("", "", as_of, as_of, False), i, 0, self.decision.now, self.ruled_today)
        return replace(when, past=_number(self.held.chance[i, 0]))

    @staticmethod
    def _opened(when: Column, i: int, k: int, o: Openings, rule: Ruling) -> Column:
        sure = bool(np.isfinite(o.cost[i, k]))
        # In whole um, as gauges are read: a reading is at or over the one exactly where it is at or over the
        # other.
        trigger = float(np.ceil(np.round(rule.trigger_um[i], 6)))
        scrape_from = min(float(np.ceil(rule.scrape_from_um[i])), trigger) if sure else float("nan")
        return replace(
            when,
            trigger_um=_number(trigger) if sure else None,
            trigger_is=_state(trigger) if sure else "",
            trigger_from=TRIGGER_FROM[rule.trigger_from[i]] if sure else "",
            scrape_from_um=_number(scrape_from) if sure else None,
            scrape_is=_state(scrape_from) if sure else "",
            no_room=bool(rule.no_room[i]),
            new=_number(o.new[i, k]),
            scraped=_number(o.scraped[i, k]),
            hours=_number(o.hours[i, k]),
            hours_var=_number(o.variance[i, k]),
            value_h=_number(o.value[i, k]),
            looking_h=_number(o.looking_h[i, k]),
        )
