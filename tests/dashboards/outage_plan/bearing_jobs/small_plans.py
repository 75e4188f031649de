"""Small planning inputs for tests: a log-normal date for each bearing, yearly outages."""

import datetime as dt

import numpy as np
from scipy.special import ndtr

from dashboards.outage_plan.bearing_jobs.inputs import Bearing, Hours, Inputs, Outage, Pump

AS_OF = dt.date(2026, 3, 2)
GRID = np.concatenate([np.arange(0, 4000, 30.0), np.arange(4000, 15000, 500.0)])
HOURS = Hours(open_h=8, measure_h=4, scrape_h=6, replace_h=16)


def passing(median_days: float, spread: float = 0.3) -> np.ndarray:
    """Chances on the grid of a date with this median."""
    return ndtr((np.log(np.maximum(GRID, 1e-3)) - np.log(median_days)) / spread)


def bearing(name: str, median_days: float, **more) -> Bearing:
    """A bearing on the pump before the slash."""
    facts = {"consequence": 60.0, "shell_cost": 50.0, "hours": HOURS, "life_days": 3000.0}
    chances = {"chance_left": passing(median_days), "chance_new": passing(3000.0)}
    return Bearing(**{"name": name, "pump": name.split("/", maxsplit=1)[0], **facts, **chances, **more})


def outage(k: int, crew_hours: float = 100.0, **more) -> Outage:
    """The k-th yearly outage, two weeks long, the first half a year ahead."""
    start = AS_OF + dt.timedelta(days=180 + 365 * k)
    facts = {"name": f"O{k}", "start_on": start, "end_on": start + dt.timedelta(days=14)}
    return Outage(**{**facts, "crew_hours": crew_hours, **more})


def inputs(bearings, outages, twins=(), **more) -> Inputs:
    """Inputs whose pumps are those of the bearings; twins as pairs of pump names."""
    other = {a: b for pair in twins for a, b in (pair, pair[::-1])}
    pumps = sorted({b.pump for b in bearings})
    return Inputs(
        AS_OF,
        GRID,
        tuple(bearings),
        tuple(outages),
        tuple(Pump(p, twin=other.get(p, "")) for p in pumps),
        **more,
    )
