"""What a shell is as it lies open: the record before the visit and what the visit measured and did, for the
reader of prints. Numbers and words; no Django.

A device takes the `ShellRecord` along and comes to the same facts by the same rule
(`static/inspections/contact_facts.js`); a test holds the two together. Lengths are um, diametral.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

AGREE = 2.0  # two readings agree within so many spreads of their difference
WIDEST = 0.2  # a wider expectation, as a share of itself, confirms no reading
TEN_TO_NINETY_SD = 2.563  # from the 10 % to the 90 % point of a normal spread, in its sd
USUAL_SD_UM = 10.0  # of a method without a spread of its own
NEW, SCRAPED, RUN_IN = "new", "scraped", "run_in"
SCRAPE, STEP, NEW_METAL, NEW_BASELINE = "scrape", "step", "new_metal", "new_baseline"
STAGES = ("as_left", "as_found")  # the later first


@dataclass(frozen=True)
class ShellRecord:
    """What the record knew of a bearing before a visit; plain figures, so that a device can carry them.

    seat, load_side, scrapeable, journal_mm : as a print's `Check` takes them.
    low_um, middle_um, high_um : 10, 50 and 90 % of the clearance expected; None where nothing is.
    measured_before : whether the record has a clearance of it. first_fit_um : this shell's first; None: not
    known.
    step : the usual step of a scrape and its sd. sd_um : standard uncertainty by method.
    """

    seat: str = ""
    load_side: str = "bottom"
    journal_mm: float | None = None
    scrapeable: str = ""
    low_um: float | None = None
    middle_um: float | None = None
    high_um: float | None = None
    measured_before: bool = False
    first_fit_um: float | None = None
    step: tuple[float, float] = (0.0, 0.0)
    sd_um: Mapping[str, float] | None = None

    @property
    def expected_sd_um(self) -> float | None:
        """Of what is expected; None where nothing is."""
        low, high = self.low_um, self.high_um
        return (high - low) / TEN_TO_NINETY_SD if low and high else None

    def trust(self, method: str, otherwise: float = USUAL_SD_UM) -> float:
        """Standard uncertainty of a method, um."""
        return (self.sd_um or {}).get(method, otherwise)


@dataclass(frozen=True)
class Measured:
    """One clearance of the visit that counts: its stage, station's key, method, who, and um."""

    stage: str
    station: str
    method: str
    measured_by: str
    um: float


def facts_now(
    record: ShellRecord, measured: Sequence[Measured], works: Sequence[str], effects: Mapping[str, str]
) -> dict[str, Any]:
    """The fields of a `Check` that record and visit know.

    Parameters
    ----------
    measured : the visit's clearances that count, in order. works : kinds of what was done, in order.
    effects : kind -> what it does to the series.

    >>> facts_now(ShellRecord(), [Measured("as_found", "in-12", "", "a", 150.0)], [], {})["clearance_um"]
    150.0
    """
    last = _last(measured)
    now_um = sum(one.um for one in last) / len(last) if last else (record.middle_um or None)
    state = _state(record, works, effects)
    gained = state == RUN_IN and record.first_fit_um is not None and now_um is not None
    return {
        "seat": record.seat,
        "load_side": record.load_side,
        "clearance_um": now_um,
        "clearance_sd_um": _sd(record, last),
        "measured_twice": _twice(record, last) or _as_expected(record, last, works, effects),
        "journal_mm": record.journal_mm,
        "state": state,
        "gained_um": now_um - record.first_fit_um if gained else None,  # type: ignore[operator]
        "gained_sd_um": math.sqrt(2.0) * USUAL_SD_UM if gained else None,
        "scrapeable": record.scrapeable,
    }


def _last(measured: Sequence[Measured]) -> list[Measured]:
    """Of the last stage measured."""
    for stage in STAGES:
        if own := [one for one in measured if one.stage == stage]:
            return own
    return []


def _sd(record: ShellRecord, last: Sequence[Measured]) -> float | None:
    """Standard uncertainty of the clearance now: of its method, else of what is expected; None: not known."""
    own = [record.trust(one.method) for one in last if one.method in (record.sd_um or {})]
    if own:
        return max(own)
    return None if last else record.expected_sd_um


def _twice(record: ShellRecord, last: Sequence[Measured]) -> bool:
    """Whether another hand or method gave the same clearance at the same place, within their spreads."""
    for a, b in combinations(last, 2):
        other = a.method != b.method or a.measured_by != b.measured_by
        sd = math.hypot(record.trust(a.method), record.trust(b.method))
        if a.station == b.station and other and abs(a.um - b.um) <= AGREE * sd:
            return True
    return False


def _as_expected(
    record: ShellRecord, last: Sequence[Measured], works: Sequence[str], effects: Mapping[str, str]
) -> bool:
    """Whether what was measured is what earlier readings of the record led to expect: other hands on another
    day.

    Each scrape of this visit moves what is expected by its usual step; after new metal or a new journal
    nothing is expected. An expectation wider than a fifth of itself confirms nothing.
    """
    middle, sd = record.middle_um, record.expected_sd_um
    if not (last and record.measured_before and middle and sd is not None):
        return False
    if sd > WIDEST * middle or any(effects.get(kind) in (NEW_METAL, NEW_BASELINE) for kind in works):
        return False
    n_scrapes = sum(kind == SCRAPE for kind in works)
    step, step_sd = record.step
    own = max(
        (record.trust(one.method) for one in last if one.method in (record.sd_um or {})), default=USUAL_SD_UM
    )
    spread = math.hypot(sd, own, math.sqrt(n_scrapes) * step_sd)
    now_um = sum(one.um for one in last) / len(last)
    return abs(now_um - middle - n_scrapes * step) <= AGREE * spread


def _state(record: ShellRecord, works: Sequence[str], effects: Mapping[str, str]) -> str:
    """New, scraped or run in: by what was done in this visit, else by what the record has of the shell; else
    not known.
    """
    done = [kind for kind in works if effects.get(kind) in (NEW_METAL, STEP)]
    if done:
        return SCRAPED if done[-1] == SCRAPE else NEW
    return RUN_IN if record.measured_before else ""
