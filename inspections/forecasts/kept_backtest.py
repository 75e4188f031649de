"""How well earlier forecasts would have done on the plant's own record: run, kept with a forecast run, put in
words.
"""

import datetime as dt
import uuid
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fleet.formatting import counted, um
from fleet.models import Bearing
from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts.wear_inputs import Inputs, events_of
from inspections.models import ForecastRun
from inspections.wear.backtest import ENOUGH, Told, hide_and_tell, slack, summary

OPENINGS = 1  # how many of each bearing's last openings are hidden unless another number is asked for
WORST = 20
PROMISED = (5, 10, 50, 90, 95)
KEPT_UNDER = "backtest"  # in a run's parameters


def backtest(known: Inputs, openings: int = OPENINGS, *, threads: bool = False) -> dict[str, Any]:
    """Hide every bearing's last openings, fit the fleet once without them and predict them.

    Parameters
    ----------
    known : Inputs
    openings : int
        how many of each bearing's last openings are hidden.

    Returns
    -------
    dict
        what `wear.backtest.summary` says, and under `worst` the readings farthest off their forecast.
    """
    told = hide_and_tell(known.histories, openings, threads=threads)
    return summary(told, openings) | {"worst": _worst(known, told)}


def _worst(known: Inputs, told: Told) -> list[dict[str, Any]]:
    """The readings outside their forecast's 90 % range, the farthest (in widths of that range) first."""
    width = np.maximum(told.ours[:, 4] - told.ours[:, 0], 1e-9)
    out = np.maximum(told.ours[:, 0] - told.value_um, told.value_um - told.ours[:, 4]) / width
    rows = []
    for at in np.argsort(-out, kind="stable")[:WORST]:
        if out[at] <= 0:
            break
        one = known.known[int(told.bearing[at])]
        entry = events_of(one)[int(told.event[at] - known.histories.start[told.bearing[at]])]
        rows.append(
            {
                "bearing": str(one.bearing.pk),
                "on": entry.on.isoformat(),
                "read_um": float(told.value_um[at]),
                "low_um": float(told.ours[at, 0]),
                "high_um": float(told.ours[at, 4]),
            }
        )
    return rows


@dataclass(frozen=True)
class Kept:
    """A backtest as it was stored: of which day, and what it found."""

    as_of: dt.date
    found: Mapping[str, Any]


def last_kept() -> Kept | None:
    """The latest stored backtest."""
    runs = ForecastRun.objects.filter(parameters__has_key=KEPT_UNDER, standing=True).order_by("-made_at")
    row = runs.values_list("as_of", f"parameters__{KEPT_UNDER}").first()
    return Kept(*row) if row else None


def sentence(found: Mapping[str, Any]) -> str:
    """Whether the dates can be trusted, in one sentence."""
    if not found["n"]:
        return (
            "No bearing holds two openings with a reading in the same life: nothing can be hidden and"
            " predicted yet."
        )
    n, ours, line = found["n"], _inside(found["ours"], found["n"]), _inside(found["line"], found["n"])
    told = f"Of {counted(n, 'hidden reading')}, {ours} lay inside the 90 % range forecast without them"
    told += f" ({line} inside that of a straight line)"
    return f"{told}: {_verdict(found)}"


def _verdict(found: Mapping[str, Any]) -> str:
    if found["n"] < ENOUGH:
        return f"too few to judge by; {ENOUGH} or more would tell."
    off = np.abs(np.array(found["ours"]["below"]) - PROMISED)
    if (off <= slack(found["n"])).all():
        return "as often as promised, within what chance allows."
    low, high = found["ours"]["below"][0], 100.0 - found["ours"]["below"][4]
    wide = low + high < 10.0
    return (
        f"{'more' if wide else 'less'} often than promised; the dates are {'wider' if wide else 'surer'} than"
        " this record bears out."
    )


def _inside(one: Mapping[str, Any], n: int) -> int:
    """How many lay between the 5 % and the 95 % figure."""
    low, high = float(one["below"][0]), float(one["below"][4])
    return round(n * (high - low) / 100.0)


def table(found: Mapping[str, Any]) -> list[tuple[str, float, float, float]]:
    """(promised, share below the forecast's figure, below the straight line's, what chance allows), all per
    cent.
    """
    allowed = slack(found["n"])
    return [
        (f"{share} %", found["ours"]["below"][k], found["line"]["below"][k], float(allowed[k]))
        for k, share in enumerate(PROMISED)
    ]


def worst_seen(
    found: Mapping[str, Any], bearings: Collection[Bearing] | Sequence[Bearing]
) -> list[dict[str, Any]]:
    """The worst misses among these bearings, each with its address and day."""
    by_pk = {str(bearing.pk): bearing for bearing in bearings}
    return [
        {
            **row,
            "bearing": by_pk[row["bearing"]],
            "address": bearing_address(by_pk[row["bearing"]]),
            "on": dt.date.fromisoformat(row["on"]),
        }
        for row in found["worst"]
        if row["bearing"] in by_pk
    ]


def asked_for(found: Mapping[str, Any]) -> list[uuid.UUID]:
    """The bearings that the worst misses are of."""
    return [uuid.UUID(row["bearing"]) for row in found["worst"]]


def printed(found: Mapping[str, Any]) -> list[str]:
    """The lines that `forecast --backtest` prints."""
    lines = [sentence(found)]
    if not found["n"]:
        return lines
    lines.append(f"{'readings below the':>20} {'forecast':>9} {'line':>9} {'chance allows':>15}")
    lines += [
        f"{name + ' figure':>20} {a:7.1f} % {b:7.1f} % {c:>11.1f} pts" for name, a, b, c in table(found)
    ]
    ours, line = found["ours"], found["line"]
    lines.append(f"{'middle miss':>20} {um(ours['miss_um'], 1):>9} {um(line['miss_um'], 1):>9}")
    lines.append(f"{'mean loss':>20} {um(ours['loss_um'], 2):>9} {um(line['loss_um'], 2):>9}")
    for one in found["by_opening"] if len(found["by_opening"]) > 1 else []:
        inside, n = _inside(one["ours"], one["n"]), one["n"]
        lines.append(f"  hidden opening {one['opening']}: {inside} of {n} inside the 90 % range")
    return lines
