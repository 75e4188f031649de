"""What a scrape took and cost, and the rule below the table of `word_at_pump`, from the record as it stands now. Pure but for the figures.

Lengths um, diametral; the measured step is drawn towards the class's usual step and never negative.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.stats import truncnorm

from fleet.formatting import chance, hours, um
from inspections.forecasts.figures import Figures
from inspections.forecasts.sentences import following
from inspections.visits.expectations import Before
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, REPLACE, Ruling, Trigger
from inspections.wear.normal import NINE_IN_TEN


@dataclass(frozen=True)
class Removed:
    """Metal taken off in a visit: mean and standard uncertainty, um; `measured`: whether readings on both sides say so."""

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
        readings of the same stations; all of one side share the sd of one reading (the same hands, gauge and day).
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
    return f"{said}. It cost about {hours(round(spent, -2))} of run at its rate, some {months:.0f} months of its duty."


def scraping_words(known: Before, now_um: float | None, n_rounds: int, caution_after: int) -> list[str]:
    """What to know before the next scrape: no room for one more, or a stop after the third round."""
    figures = known.figures
    said = []
    limit = figures["replace_limit_um"]
    if now_um is not None and limit is not None and figures["replace_limit_from"] != "no_room":
        step, sd = known.step
        if now_um + step + NINE_IN_TEN * sd > limit:
            said.append(
                f"One more scrape (about {um(step)}) may pass the replace limit of {um(limit)}: it is {um(now_um)} now."
            )
    elif figures["replace_limit_from"] == "no_room":
        said.append("No room for a scrape below its maximum: if it does not carry, it is replaced.")
    if n_rounds >= caution_after:
        said.append(
            f"Round {n_rounds}: stop and think. If it still does not carry, look for another cause: alignment, a shell "
            "not seated, the journal (common practice, no published source)."
        )
    return said


def by_chance(figures: Figures, accepted_risk: float) -> Trigger:
    """The rule of today below the table: the chance of passing the maximum before the outage after next.

    Parameters
    ----------
    figures : Figures
        as of now, this visit's readings among them.
    accepted_risk : float
        above it a new shell; a bearing whose readings do not follow steady wear is the engineer's.

    Returns
    -------
    Trigger
        the same whether a scrape is owed or not: this rule does not count the step in.
    """
    p = figures["p_max_before_following_outage"]

    def trigger(scrape_owed: bool) -> Ruling:
        if p is None:
            return Ruling(CLOSE_UP, "No limit or no forecast stands against it.", p)
        risk = f"It passes its maximum before {following(figures)} with a chance of {chance(p)}."
        if figures["outcome"] == "misfit":
            return Ruling(ENGINEER, f"Its readings do not follow steady wear. {risk}", p)
        if p > accepted_risk:
            return Ruling(REPLACE, f"{risk} That is more than the risk this plant accepts.", p)
        return Ruling(CLOSE_UP, risk, p)

    return trigger
