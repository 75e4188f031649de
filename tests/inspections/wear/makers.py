"""Small histories for the wear tests."""

from __future__ import annotations

from typing import Any

import numpy as np

from inspections.wear.arrays import Histories, Kind, Method, build

LEAD = Method("lead wire", 10.0)


def reading(u: float, value: float, **more: Any) -> dict[str, Any]:
    """A reading as an event."""
    return {"kind": Kind.READING, "exposure_kh": u, "value_um": value, "method": 0, **more}


def event(kind: Kind, u: float, **more: Any) -> dict[str, Any]:
    """Any other event."""
    return {"kind": kind, "exposure_kh": u, **more}


def steady_fleet(
    n: int, *, seed: int = 1, noise: float = 10.0, median: float = 2.2, **facts: Any
) -> Histories:
    """n bearings that wear steadily at rates of their own from 130 um towards 260, read every 11 kh."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        rate = median * np.exp(0.5 * rng.normal())
        level = 130 * (1 + 0.1 * rng.normal())
        events = [event(Kind.NEW_LIFE, 0.0)]
        for u in np.arange(1, int(rng.integers(3, 7))) * 11.0:
            events.append(reading(u, level + rate * u + noise * rng.normal()))
        rows.append(({"fitting_um": 130.0, "limit_um": 260.0, "class_": 0, **facts}, events))
    return build(rows, [Method("lead wire", noise)])
