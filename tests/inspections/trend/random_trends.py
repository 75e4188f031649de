"""Trends of every kind that a bearing can have, drawn at random: few and many readings, works close together,
limits close together with long authorities, openings soon and late.
"""

from datetime import date, timedelta

import numpy as np

from fleet.drawing import Span
from inspections.trend import values

TODAY = date(2026, 6, 30)
AUTHORITIES = (
    "maker",
    "machine book L350, sheet 12",
    "customer specification, station standard",
    "of its class",
    "general rule, adopted by the works in 2012 until measured",
    "",
)
WORKS = (
    ("scrape", "scraped"),
    ("shell_change", "new shell"),
    ("rebabbitt", "rebabbitted, lower half"),
    ("alignment", "aligned, coupling"),
    ("oil", "oil changed"),
    ("rotor_change", "another rotor, the spare one"),
    ("contact_check", "contact check"),
)
METHODS = ("plastic_strip", "bore_gauge", "lead_wire")


def random_trend(rng: np.random.Generator) -> values.Trend:
    """One trend; all its figures hang on the generator alone."""
    age = int(rng.integers(30, 7300))
    days = sorted(TODAY - timedelta(days=int(d)) for d in rng.integers(0, age, rng.integers(0, 26)))
    level = 120 + np.cumsum(rng.gamma(1.0, 12.0, len(days)))
    until = TODAY + timedelta(days=int(rng.integers(1095, 2920)))
    last = float(level[-1]) if len(level) else 130.0
    top = last * float(rng.uniform(0.8, 1.6))
    works = [_work(rng, age, days) for _ in range(rng.integers(0, 12))]
    path = values.TrendPath(tuple(days), tuple(map(float, level)))
    first = TODAY + timedelta(days=int(rng.integers(-10, 2500)))
    outages = [
        Span(first + timedelta(days=540 * k), first + timedelta(days=540 * k + 20), f"spring {2027 + k}")
        for k in range(rng.integers(0, 5))
    ]
    job = None
    if outages and rng.random() < 0.7:
        job = values.TrendJob(outages[0].start, outages[0].end, [None, 0.9 * top][rng.integers(2)])
    return values.Trend(
        "Quench 2 drive end",
        "as it stands",
        TODAY,
        until,
        readings=tuple(_reading(rng, day, um) for day, um in zip(days, level, strict=True)),
        works=tuple(sorted(works, key=lambda work: work.day)),
        paths=(path,) if len(days) > 1 else (),
        fan=_fan(rng, last, until) if days else None,
        limits=tuple(_limits(rng, top)),
        outages=tuple(outages),
        dates=_dates(rng, until),
        job=job,
    )


def _reading(rng: np.random.Generator, day: date, um: float) -> values.TrendReading:
    smaller = float(um - rng.uniform(2, 30)) if rng.random() < 0.3 else None
    state = str(rng.choice(["used", "used", "used", "excluded", "added"]))
    stage = str(rng.choice(["as_found", "as_left"]))
    return values.TrendReading(
        day, float(um), 6.0, stage, str(rng.choice(METHODS)), state=state, smaller_um=smaller
    )


def _work(rng: np.random.Generator, age: int, days: list[date]) -> values.TrendWork:
    kind, label = WORKS[rng.integers(len(WORKS))]
    day = TODAY - timedelta(days=int(rng.integers(0, age)))
    if days and rng.random() < 0.5:
        day = days[rng.integers(len(days))]
    return values.TrendWork(day, kind, label, float(rng.uniform(-5, 30)) if kind == "scrape" else None)


def _fan(rng: np.random.Generator, last: float, until: date) -> values.TrendFan:
    days = tuple(TODAY + timedelta(days=int(d)) for d in np.linspace(0, (until - TODAY).days, 25))
    rate = float(rng.gamma(2.0, 1.0))
    spread = (0.4, 0.7, 1.0, 1.4, 2.2)
    return values.TrendFan(days, *(tuple(last + s * rate * k for k in range(25)) for s in spread))


def _limits(rng: np.random.Generator, top: float):
    authority = AUTHORITIES[rng.integers(len(AUTHORITIES))]
    if rng.random() < 0.9:
        began = TODAY - timedelta(days=int(rng.integers(100, 4000))) if rng.random() < 0.3 else None
        if began:
            yield values.TrendLimit("maximum", top * float(rng.uniform(0.9, 1.1)), "plant", None, began)
        yield values.TrendLimit("maximum", top, authority, began)
    if rng.random() < 0.7:
        yield values.TrendLimit("replace", top * float(rng.uniform(0.7, 1.0)), "derived")


def _dates(rng: np.random.Generator, until: date) -> values.TrendDates | None:
    if rng.random() < 0.2:
        return None
    first = TODAY + timedelta(days=int(rng.integers(-400, 3000)))
    return values.TrendDates(
        str(rng.choice(["replace limit", "in-service maximum"])),
        first,
        first + timedelta(days=400),
        first + timedelta(days=1100) if rng.random() < 0.7 else None,
    )
