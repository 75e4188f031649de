"""What a scrape took and what it cost in life, and what to know before the next. Numbers and words; no
Django.

Lengths um, diametral; the measured step is drawn towards the class's usual step and never negative.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fleet.formatting import hours, um
from fleet.units import up_to_step
from inspections.forecasts.forecast_figures import Figures
from inspections.visits.trigger_at_pump import Opening
from inspections.visits.verdict import with_unit
from inspections.wear.normal import NINE_IN_TEN


@dataclass(frozen=True)
class Removed:
    """Metal taken off in a visit: mean and standard uncertainty, um; `measured`: whether readings on both
    sides say so.
    """

    mean_um: float
    sd_um: float
    measured: bool


def removed(
    found: Sequence[tuple[float, float]], left: Sequence[tuple[float, float]], usual: tuple[float, float]
) -> Removed:
    """Metal removed between as found and as left.

    Parameters
    ----------
    found, left : sequences of (um, sd)
        readings of the same stations; all of one side share the sd of one reading (the same hands, gauge and
        day).
    usual : (um, sd)
        the class's usual step.

    Returns
    -------
    Removed
        the normal mean of measured and usual step by their precisions, cut at zero (truncated normal).

    >>> removed([(150.0, 5.0)], [(149.0, 5.0)], (12.0, 6.0)).mean_um > 0
    True
    """
    mean, sd = usual
    sd = max(sd, 1.0)
    measured = bool(found and left)
    if measured:
        step = sum(v for v, _ in left) / len(left) - sum(v for v, _ in found) / len(found)
        own = math.hypot(max(s for _, s in found), max(s for _, s in left))
        weight = sd**2 / (sd**2 + own**2)
        mean, sd = mean + weight * (step - mean), math.sqrt(weight) * own
    from scipy.stats import truncnorm  # slow to import, and seldom asked for

    shape = truncnorm(-mean / sd, math.inf, loc=mean, scale=sd)
    return Removed(float(shape.mean()), float(shape.std()), measured)


def cost_words(taken: Removed, figures: Figures) -> str:
    """What the removed metal cost in remaining life, at the bearing's own rate."""
    rate = figures["rate_um_per_kh_p50"]
    said = f"Metal removed: about {um(taken.mean_um)} give or take {um(2 * taken.sd_um)} (95 % within)"
    said += "" if taken.measured else ", by the usual step: it was not measured on both sides"
    if not rate or figures["exposure"] == "calendar":
        return f"{said}."
    spent = taken.mean_um / rate * 1000.0
    months = spent / max(figures["hours_per_day"] or 24.0, 0.1) / 30.44
    return (
        f"{said}. It cost about {hours(round(spent, -2))} of run at its rate, some {months:.0f} months of its"
        " duty."
    )


def scraping_words(
    opening: Opening,
    step: tuple[float, float],
    now_um: float | None,
    unit: str,
    n_rounds: int,
    caution_after: int,
) -> list[str]:
    """What to know before the next scrape: no room for one more (its `step` and sd, um), or a stop after the
    third round.
    """
    at, said = opening.at, []
    from_um = at.scrape_from_um if at else None
    if from_um is None and opening.replace_um is not None:
        from_um = opening.replace_um - step[0] - NINE_IN_TEN * step[1]
    if at is not None and at.no_room:
        said.append("No room to scrape below its maximum: if it does not carry, ask the engineer.")
    elif from_um is not None and now_um is not None and now_um >= from_um:
        limit = with_unit(up_to_step(from_um, unit), unit)
        said.append(
            f"It is {with_unit(now_um, unit)} now: from {limit} on it is replaced rather than scraped."
        )
    if n_rounds >= caution_after:
        said.append(
            f"Round {n_rounds}: stop and think. If it still does not carry, look for another cause:"
            " alignment, a shell not seated, the journal (common practice, no published source)."
        )
    return said
