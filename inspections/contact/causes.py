"""The named causes of a print, how common each is, and how far each print of the library fits the facts."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from .check import Check
from .criteria import Criteria
from .library import LEVEL, PARTS, library
from .press import FloatArray
from .shared_table import TABLE

CAUSES: tuple[str, ...] = tuple(cause["name"] for cause in TABLE["causes"])
_NAMED: dict[str, dict[str, Any]] = {cause["name"]: cause for cause in TABLE["causes"]}
_FACTS: dict[str, Any] = TABLE["facts"]


@dataclass(frozen=True)
class Level:
    """What the facts say of ln R, R half the diametral clearance in films.

    low, high : with the thickest and the thinnest film of the class. sd : of the clearance's share.
    middle, wide : of the whole.

    """

    low: float
    high: float
    sd: float

    @property
    def middle(self) -> float:
        return 0.5 * (self.low + self.high)

    @property
    def wide(self) -> float:
        return math.hypot(self.sd, (self.high - self.low) / math.sqrt(12.0))


def level(check: Check, criteria: Criteria) -> Level:
    """ln R from the clearance and the film; an unknown clearance is taken from the journal's diameter.

    Notes
    -----
    Without a clearance 1.3 per mille of the diameter, +-45 %; without either 150 um, +-60 %: common
    practice, no published source.

    >>> where = level(Check(clearance_um=150, clearance_sd_um=10, film="normal"), Criteria())
    >>> round(where.low, 3), round(where.high, 3), round(where.sd, 3)
    (1.609, 2.372, 0.137)
    """
    thin, thick = check.film_range(criteria)
    if check.clearance_um is not None:
        clearance = check.clearance_um
        sd = _FACTS["clearance_sd_um"] if check.clearance_sd_um is None else check.clearance_sd_um
        share = sd / clearance
    elif check.journal_mm is not None:
        clearance, share = (
            _FACTS["clearance_of_journal"] * 1000.0 * check.journal_mm,
            _FACTS["share_of_journal"],
        )
    else:
        clearance, share = _FACTS["clearance_um"], _FACTS["share_unknown"]
    half = 0.5 * clearance
    return Level(_held(half / thick), _held(half / thin), math.hypot(share, _FACTS["level_sd"]))


def _held(scale: float) -> float:
    """ln R within what the library holds: beyond it every shell floods, or every shell prints a line."""
    return math.log(min(max(scale, LEVEL[0]), LEVEL[1]))


def prior(cause: str, check: Check) -> float:
    """How common a cause is before the print is looked at: judgement, no published source.

    A shell that has run has carried its shaft, and its print tells little of its clearance: far too tight,
    too large or too thick are less likely there. Nor is a clearance far from what two hands or methods gave.
    A clearance already above 2 per mille of the journal is seldom larger still than measured.
    """
    share = float(_NAMED[cause]["prior"])
    share *= _FACTS["state_priors"].get(check.state or "not_said", {}).get(cause, 1.0)
    if cause in ("tight", "large") and check.measured_twice:
        share *= _FACTS["measured_twice"]
    if cause == "large" and check.clearance_um is not None and check.journal_mm is not None:
        share *= min(
            1.0, (_FACTS["large_of_journal"] * 1000.0 * check.journal_mm / check.clearance_um) ** 1.5
        )
    return share


def parts(check: Check) -> dict[str, float]:
    """Share of each part of the library that the shell's state asks for."""
    shares = _FACTS["states"][check.state or "not_said"]
    return {part: float(shares[part]) for part in PARTS if shares[part] > 0}


def families(cause: str) -> tuple[str, ...]:
    """The families of prints that a cause makes."""
    return tuple(_NAMED[cause]["families"])


def weights(cause: str, part: str, check: Check, where: Level) -> FloatArray:
    """(n,) how far each print of a cause's family fits clearance, film, reliefs and wear; 0 and more.

    Parameters
    ----------
    cause : one of `CAUSES`. part : `bored` or `worn`. where : of the same check.
    """
    prints = library(part)
    rows = prints.ranges[_NAMED[cause]["prints"]]
    v = prints.level[rows]
    weight = np.zeros(len(v))
    for window in _NAMED[cause]["windows"]:
        ends = {"low": where.low, "high": where.high, "middle": where.middle}
        low, high = (ends[window[end][0]] + window[end][1] for end in ("from", "to"))
        edge = where.wide if window["edge"] == "wide" else where.sd
        weight += window["share"] * flat(v, low, high, edge)
    relieved = prints.relief[rows]
    if check.relief_deg is None:
        weight *= np.where(relieved, _FACTS["relief_not_said"], 1.0)
    else:
        weight *= relieved == (check.relief_deg < 90.0)
    if part == "worn":
        weight *= wear_fit(prints.half_arc_deg[rows], check)
    return np.asarray(weight)


def flat(v: FloatArray, low: float, high: float, edge: float) -> FloatArray:
    """1 between low and high, falling to 0 outside over soft edges of this sd."""
    return np.asarray(_up((v - low) / edge) * _up((high - v) / edge))


def wear_fit(half_arc_deg: FloatArray, check: Check) -> FloatArray:
    """(n,) how far worn arcs fit the clearance gained by the record, or the arc as seen.

    Notes
    -----
    `cos(A/2) = r / (r + d)`, r the original radial clearance, d the depth worn: the clearance now is 2r + d.
    Source: own geometry.
    """
    expected = expected_half_arc(check)
    if expected is None:
        return np.ones(len(half_arc_deg))
    middle, sd = expected
    return np.asarray(np.exp(-0.5 * ((half_arc_deg - middle) / sd) ** 2) + _FACTS["wear_otherwise"])


def expected_half_arc(check: Check) -> tuple[float, float] | None:
    """(half the worn arc, its sd) in degrees; None where neither arc nor clearance gained is known.

    >>> arc, sd = expected_half_arc(Check(clearance_um=230, gained_um=100, gained_sd_um=0))
    >>> round(2 * arc)
    134
    """
    if check.worn_arc_deg is not None and not check.bedded_by_hand:
        return 0.5 * check.worn_arc_deg, _FACTS["seen_arc_sd_deg"]
    if check.gained_um is None or check.clearance_um is None:
        return None
    sd = _FACTS["gained_sd_um"] if check.gained_sd_um is None else check.gained_sd_um
    low, middle, high = (_half_arc(check.clearance_um, check.gained_um + k * sd) for k in (-1, 0, 1))
    return middle, math.hypot(0.5 * (high - low), _FACTS["least_arc_sd_deg"])


def _half_arc(clearance_um: float, gained_um: float) -> float:
    gained = min(max(gained_um, 0.0), 0.9 * clearance_um)
    radius = 0.5 * (clearance_um - gained)
    return math.degrees(math.acos(radius / (radius + gained)))


def _up(z: FloatArray) -> FloatArray:
    return np.asarray(1.0 / (1.0 + np.exp(-1.702 * z)))
