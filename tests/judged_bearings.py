"""Bearings judged by the rule from plain figures, without a record: every kind that a plant has, drawn at
random.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
from numpy.typing import NDArray

from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.judgement.reckoning import Times, _Made, _ruled
from inspections.forecasts.judgement.when import Chance
from inspections.wear.decision import Predictive, Terms, decide, outages
from inspections.wear.terms import example_terms

AS_OF = dt.date(2026, 11, 27)
COLUMNS, INTERVAL_DAYS, D = 6, 548, 13.15
ROOM_UM = 130.0
OPENED_ON = AS_OF - dt.timedelta(days=2)


@dataclass(frozen=True)
class JudgedBearing:
    """One bearing: its name, pump, what stands for it, and its forecast's figures."""

    name: str
    pump: str
    judged: Judgement
    figures: Figures


def judged_bearings(n: int, number: int) -> list[JudgedBearing]:
    """n bearings, two a pump: most are plain, some have no maximum, one under their fitted clearance, no
    model, a plant's replace limit, a contact finding or a consequence, and pumps that an outage which runs
    opens; every ninth pump stands open.

    All outages but the last two are recorded; pumps share four calendars, and the first outage of one runs.
    """
    rng = np.random.default_rng([number, n])
    kind = rng.choice(["", "", "", "", "none", "life", "misfit", "plant", "contact", "dear"], n)
    t, p = _fleet(kind, rng)
    pump = np.arange(n) // 2
    first = np.repeat(rng.choice([0.0, 0.3, 0.7, 1.2], n // 2), 2)
    ahead = (first[:, None] + np.arange(COLUMNS + 1)) * D
    fits, contact = kind != "misfit", kind == "contact"
    stop = np.where(rng.random(n // 2) < 0.3, 12.0, np.nan)
    open_h = t.open_h[::2]
    d = decide(p, t, outages(ahead, t), pump, open_h, stop_h=stop, contact_open=contact, fits=fits)
    plants = np.where(kind == "plant", t.new_um + 0.6 * ROOM_UM, np.nan)
    known = [SimpleNamespace(limit_um=lambda use, um=um: um) for um in plants]
    ruled = _ruled(known, d.openings, t, [False] * n)
    past = np.column_stack([d.openings.past_now, d.openings.past])
    past = np.where((kind == "life")[:, None], 1.0, past)
    figures = [_figures(i, p, t, float(past[i, 0]), str(kind[i])) for i in range(n)]
    times = Times([_chances(days) for days in first * INTERVAL_DAYS], *(np.zeros((n, 1)) for _ in range(4)))
    made = _Made(
        known=known,
        figures=figures,
        held=SimpleNamespace(chance=past, by_lining=np.zeros(n, dtype=bool)),
        terms=t,
        times=times,
        pump=pump,
        decision=d,
        ruled=ruled,
        ruled_today=_ruled(known, d.now, t, [False] * n)[0],
        fits=fits,
        contact=contact,
        stop=stop,
        open_h=open_h,
        extra_h=np.zeros(n // 2),
    )
    return [
        JudgedBearing(
            f"P{i // 2:03d} {'DE' if i % 2 == 0 else 'NDE'}",
            f"P{i // 2:03d}",
            made.judgement(i, AS_OF, False).with_pump_open(OPENED_ON if i // 2 % 9 == 4 else None),
            figures[i],
        )
        for i in range(n)
    ]


def _fleet(kind: NDArray[np.str_], rng: np.random.Generator) -> tuple[Terms, Predictive]:
    """Terms of one class, so that few tables are worked out, and beliefs of every wear from new to past the
    maximum.
    """
    n = len(kind)
    limit = np.select([kind == "none", kind == "life"], [np.nan, 115.0], 130.0 + ROOM_UM)
    t = example_terms(n, limit_um=limit, consequence=np.where(kind == "dear", 2.5, 1.0))
    e = np.linspace(-2.8, 2.8, 15)
    weight = np.exp(-0.5 * e**2)
    rate = np.log(2.2) + 0.5 * rng.normal(size=n)[:, None] + rng.uniform(0.1, 0.5, n)[:, None] * e
    level = 130.0 + 1.1 * ROOM_UM * rng.beta(1.2, 1.6, n)
    variance = rng.uniform(4.0, 12.0, n) ** 2
    return t, Predictive(
        np.tile(weight / weight.sum(), (n, 1)),
        rate,
        np.repeat(level[:, None], 15, axis=1),
        np.repeat(variance[:, None], 15, axis=1),
        t.unevenness_um,
    )


def _chances(days: float) -> list[Chance]:
    """The times at which a pump can be opened; the first runs where no day is left to it."""
    start = AS_OF + dt.timedelta(days=round(days) or -3)
    starts = [start + dt.timedelta(days=INTERVAL_DAYS * k) for k in range(COLUMNS + 1)]
    known = [k < COLUMNS - 2 for k in range(COLUMNS + 1)]
    return [
        Chance(f"O{k} {day:%Y-%m}", f"{k}-{day}", day, day + dt.timedelta(days=20))
        if is_known
        else Chance("", "", day, day)
        for k, (day, is_known) in enumerate(zip(starts, known, strict=True))
    ]


def _figures(i: int, p: Predictive, t: Terms, past_now: float, kind: str) -> Figures:
    """A forecast's figures as the engine gives them; where the maximum is under the fitted clearance it
    counts as passed.
    """
    level = float((p.weight[i] * p.level[i]).sum())
    dated = {f"replace_date_{q}": f"20{30 + 2 * k}-05-04" for k, q in enumerate(("p10", "p50", "p90"))}
    outcome = "no_limit" if kind == "none" else "misfit" if kind == "misfit" else "ok"
    if past_now >= 0.5:
        outcome = "past_limit"
    return Figures(
        {
            "site": "Random",
            "outcome": outcome,
            "readings": 4,
            "last_reading_um": level,
            "last_reading_on": "2026-03-09",
            "own_evidence": 0.9,
            "in_service_max_um": float(t.limit_um[i]) if np.isfinite(t.limit_um[i]) else None,
            "new_um": float(t.new_um[i]),
            "replace_limit_from": "derived",
            "p_max_now": past_now if np.isfinite(past_now) else None,
            "p_replace_now": past_now if np.isfinite(past_now) else None,
            **(dated if outcome != "no_limit" else {}),
        }
    )
