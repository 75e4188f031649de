"""The flat arrays a fleet's histories arrive in, and the means to build, cut and stack them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


class Kind(IntEnum):
    """What an event does to the clearance (wear model, section 1)."""

    READING = 0
    INTERVAL = 1
    SCRAPE = 2
    NEW_LIFE = 3
    NEW_BASELINE = 4
    RATE_BREAK = 5
    UNSURE = 6
    DROP = 7  # a wall's shrinking or a shaft's drop: the same wear from a zero of its own, in ``value_um``
    OPENED = 8  # the visit begins; value_um 1: opened because something seemed wrong, 0: by plan


@dataclass(frozen=True)
class Method:
    """A way of measuring: stated standard uncertainty and what its offset may be (0: a reference)."""

    name: str
    sd_um: float
    bias_sd_um: float = 0.0


@dataclass(frozen=True)
class GaugePeriod:
    """One gauge between two of its checks, and what the later check found: um read too much, and the sd of
    that.
    """

    name: str
    found_um: float = float("nan")
    found_sd_um: float = float("nan")


# name -> dtype, value where the caller gives none
EVENT_FIELDS: dict[str, tuple[str, float]] = {
    "kind": ("int8", 0),
    "exposure_kh": ("float64", 0.0),
    "value_um": ("float64", np.nan),
    "low_um": ("float64", np.nan),
    "high_um": ("float64", np.nan),
    "taper_um": ("float64", np.nan),
    "method": ("int16", -1),
    "gauge": ("int32", -1),
    "zero": ("int8", -1),
    "extra_sd_um": ("float64", 0.0),
    "level_um": ("float64", np.nan),
    "starts_k": ("float64", np.nan),
    "level_sd_um": ("float64", np.nan),
}
BEARING_FIELDS: dict[str, tuple[str, float]] = {
    "fresh": ("bool", True),
    "fitting_um": ("float64", np.nan),
    "fitting_half_um": ("float64", np.nan),
    "limit_um": ("float64", np.nan),
    "replace_um": ("float64", np.nan),
    "lining_left_um": ("float64", np.nan),
    "lining_at_kh": ("float64", np.nan),
    "lining_scrapes": ("int32", 0),
    "class_": ("int32", -1),
    "site": ("int32", -1),
    "service": ("int32", -1),
    "position": ("int32", -1),
    "clock": ("int8", 0),
    "now_kh": ("float64", np.nan),
    "starts_per_hour": ("float64", np.nan),
    "hours_per_day": ("float64", 24.0),
    "duty_sd": ("float64", 0.0),
    "duty_drift": ("float64", 0.0),
    "scrape_owed": ("bool", False),
    "scrapeable": ("bool", True),
    "last_reading_age_outages": ("float64", 0.0),
    "last_confirmed": ("bool", False),
}
USUAL_OUTAGE_DAYS = 548.0  # 18 months: where a site has stated neither its interval nor two outages


@dataclass(frozen=True)
class Histories:
    """B bearings with E events, sorted by bearing and then by time.

    Shapes are (B,) or (E,) but for ``start`` (B+1,) and ``outage_days`` (B, 2). Lengths in um
    (diametral, vertical), exposure in thousand run hours from any origin, days from the as-of day.
    The codes of class, site, service and position must mean the same at fitting and at forecasting.
    """

    start: IntArray
    kind: NDArray[np.int8]
    exposure_kh: FloatArray
    value_um: FloatArray
    low_um: FloatArray
    high_um: FloatArray
    taper_um: FloatArray
    method: NDArray[np.int16]
    gauge: NDArray[np.int32]  # which of the gauges' periods, -1: not known
    zero: NDArray[np.int8]  # of a DROP: which of the bearing's series, from 0
    extra_sd_um: FloatArray
    level_um: FloatArray
    level_sd_um: FloatArray
    starts_k: FloatArray  # thousand starts so far, from any origin
    methods: tuple[Method, ...]
    fresh: NDArray[np.bool_]
    fitting_um: FloatArray
    fitting_half_um: FloatArray
    limit_um: FloatArray
    replace_um: FloatArray
    lining_left_um: FloatArray  # above its least, when the wall was last measured; NaN where it never was
    lining_at_kh: FloatArray  # exposure then
    lining_scrapes: NDArray[np.int32]  # scrapes since then
    class_: NDArray[np.int32]
    site: NDArray[np.int32]
    service: NDArray[np.int32]
    position: NDArray[np.int32]
    clock: NDArray[np.int8]
    now_kh: FloatArray
    starts_per_hour: FloatArray  # of the last two years
    hours_per_day: FloatArray
    duty_sd: FloatArray
    duty_drift: FloatArray
    outage_days: FloatArray
    scrape_owed: NDArray[np.bool_]
    scrapeable: NDArray[np.bool_]
    last_reading_age_outages: FloatArray
    last_confirmed: NDArray[np.bool_]  # the last reading was taken twice and the two agree: it is no slip
    gauges: tuple[GaugePeriod, ...] = ()

    @property
    def n_bearings(self) -> int:
        """How many bearings."""
        return len(self.start) - 1

    @property
    def owner(self) -> IntArray:
        """(E,) the bearing each event belongs to."""
        return np.repeat(np.arange(self.n_bearings), np.diff(self.start))

    def among(self, *kinds: Kind) -> NDArray[np.bool_]:
        """(E,) events of some kinds."""
        table = np.zeros(len(Kind), dtype=bool)
        table[list(kinds)] = True
        return table[self.kind]

    def digest(self) -> bytes:
        """SHA-256 of all that stands here: equal histories, equal digests."""
        told = hashlib.sha256(repr((self.methods, self.gauges)).encode())
        for field in fields(self):
            values = getattr(self, field.name)
            if isinstance(values, np.ndarray):
                told.update(f"{field.name} {values.dtype} {values.shape} ".encode())
                told.update(np.ascontiguousarray(values).tobytes())
        return told.digest()

    def take(self, bearings: Sequence[int] | IntArray) -> Histories:
        """The chosen bearings, in the order asked (repeats allowed)."""
        chosen = np.asarray(bearings, dtype=np.int64)
        counts = np.diff(self.start)[chosen]
        start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        events = np.repeat(self.start[chosen] - start[:-1], counts) + np.arange(start[-1])
        parts: dict[str, Any] = {name: getattr(self, name)[events] for name in EVENT_FIELDS}
        parts |= {name: getattr(self, name)[chosen] for name in BEARING_FIELDS}
        return replace(self, start=start, outage_days=self.outage_days[chosen], **parts)

    def with_events(self, before: IntArray, **given: Any) -> Histories:
        """The same bearings with an event put in before each of some events (N,), ascending; ``given`` its
        fields, else blank.
        """
        parts: dict[str, Any] = {
            name: np.insert(getattr(self, name), before, given.get(name, blank))
            for name, (_, blank) in EVENT_FIELDS.items()
        }
        more = np.bincount(self.owner[before], minlength=self.n_bearings)
        start = self.start + np.concatenate([[0], np.cumsum(more)]).astype(np.int64)
        return replace(self, start=start, **parts)

    def keep_events(self, mask: NDArray[np.bool_]) -> Histories:
        """The same bearings with only the events where ``mask`` (E,) is true."""
        counts = np.bincount(self.owner[mask], minlength=self.n_bearings)
        start = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
        return replace(self, start=start, **{name: getattr(self, name)[mask] for name in EVENT_FIELDS})


def build(
    bearings: Iterable[tuple[Mapping[str, Any], Sequence[Mapping[str, Any]]]],
    methods: Sequence[Method],
    gauges: Sequence[GaugePeriod] = (),
) -> Histories:
    """Histories from (facts, events) pairs; the keys are the field names, missing ones take the default.

    Events must stand in their order in time. ``method`` and ``gauge`` may be names. ``now_kh`` missing: the
    last event's.
    """
    numbers = {"method": {method.name: index for index, method in enumerate(methods)}}
    numbers["gauge"] = {gauge.name: index for index, gauge in enumerate(gauges)}
    events: dict[str, list[Any]] = {name: [] for name in EVENT_FIELDS}
    facts: dict[str, list[Any]] = {name: [] for name in BEARING_FIELDS}
    outages, start = [], [0]
    for own, rows in bearings:
        for row in rows:
            for name, (_, blank) in EVENT_FIELDS.items():
                value = row.get(name, blank)
                events[name].append(numbers[name][value] if isinstance(value, str) else value)
        start.append(start[-1] + len(rows))
        last = rows[-1].get("exposure_kh", 0.0) if rows else 0.0
        for name, (_, blank) in BEARING_FIELDS.items():
            facts[name].append(own.get(name, last if name == "now_kh" else blank))
        outages.append(own.get("outage_days", (USUAL_OUTAGE_DAYS, 2 * USUAL_OUTAGE_DAYS)))
    arrays: dict[str, Any] = {n: np.array(events[n], dtype=t) for n, (t, _) in EVENT_FIELDS.items()}
    arrays |= {n: np.array(facts[n], dtype=t) for n, (t, _) in BEARING_FIELDS.items()}
    return Histories(
        start=np.array(start, dtype=np.int64),
        methods=tuple(methods),
        gauges=tuple(gauges),
        outage_days=np.array(outages, dtype=float).reshape(-1, 2),
        **arrays,
    )


FIELD_NAMES = tuple(field.name for field in fields(Histories))
