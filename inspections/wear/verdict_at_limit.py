"""One reading against its limits: five words and the risk behind them (JCGM 106:2012, ILAC-G8:09/2019)."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.special import ndtr, ndtri

from .normal import NINE_IN_TEN

WORDS = ("too tight", "may be too tight", "inside", "may be over", "over")
GUARD_U = NINE_IN_TEN  # 95 % one-sided: the guard band of ILAC-G8:09/2019 in standard uncertainties


@dataclass(frozen=True)
class Judgement:
    """The word, and the probabilities that the true clearance lies below ``low`` or above ``high``."""

    word: str
    p_low: float
    p_high: float

    @property
    def p_inside(self) -> float:
        """Probability of conforming."""
        return max(0.0, 1.0 - self.p_low - self.p_high)


def judge(value_um: float, sd_um: float, low: float | None = None, high: float | None = None) -> Judgement:
    """Judge a reading against a minimum and a maximum, either of which may be missing (None or NaN).

    ``over`` and ``too tight``: at least 95 % sure; ``may be``: more than 5 % possible. Both come from
    the one normal distribution of the reading, so a two-sided 95 % interval reaches a limit exactly
    when the risk is at least 2.5 %. Where both sides are in doubt the likelier one is named.
    """
    p_low = _beyond(low, value_um, sd_um, side=1.0)
    p_high = _beyond(high, value_um, sd_um, side=-1.0)
    sure, doubt = ndtr(GUARD_U), ndtr(-GUARD_U)
    if max(p_low, p_high) <= doubt:
        word = WORDS[2]
    elif p_high >= p_low:
        word = WORDS[4] if p_high >= sure else WORDS[3]
    else:
        word = WORDS[0] if p_low >= sure else WORDS[1]
    return Judgement(word, float(p_low), float(p_high))


def guard_band_um(sd_um: float, risk: float = 0.05) -> float:
    """How far inside a limit a reading must lie for at most ``risk`` of being outside."""
    return float(-sd_um * ndtri(risk))


def _known(limit: float | None) -> bool:
    return limit is not None and limit == limit


def _beyond(limit: float | None, value_um: float, sd_um: float, side: float) -> float:
    """P(true below a minimum (side 1) or above a maximum (side -1)); without uncertainty as it stands."""
    if not _known(limit):
        return 0.0
    assert limit is not None
    short = side * (limit - value_um)
    return float(ndtr(short / sd_um)) if sd_um > 0 else float(short > 0)
