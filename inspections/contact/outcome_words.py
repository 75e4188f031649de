"""One print in words: a headline and four sentences, from the shared table."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .check import Check
from .journal_form import Journal
from .outcome import BARS, Decision, Print
from .places import Place, covered, places, reach_deg
from .shared_table import TABLE

CODES = TABLE["codes"]
WORDS: dict[str, str] = TABLE["words"]
MAKES: dict[str, str] = TABLE["makes"]
RIVALS: dict[str, str] = TABLE["rivals"]
OFF_CENTRE_DEG = 22.5
TILTED = ("tilt", "taper")


@dataclass(frozen=True)
class Sentences:
    """headline : the outcome. shows : fact. made_by : inference. rivals : what would tell them apart. next :
    what to do.

    drawn : what the best single print beside the tapped one shows; empty where no cause stands out.
    """

    headline: str
    shows: str
    made_by: str
    rivals: str
    next: str
    drawn: str


def sentences(p: Print, decision: Decision) -> Sentences:
    """The words of a decision; what the print shows and what makes such a print stay apart."""
    values = _values(p, decision)
    code = CODES[decision.code]
    first = p.evidence.ranked[0]
    named = p.evidence.per_mille[first] >= BARS["named"]
    causes = not code.get("made_by")
    advice = code["next"].format(**values)
    if decision.engineer and not decision.code.startswith("ask_"):
        advice = f"{advice} {WORDS['engineer'].format(**values)}"
    return Sentences(
        headline=code["headline"].format(**values),
        shows=_shows(p, values),
        made_by=_made_by(p, values) if causes else code["made_by"].format(**values),
        rivals=_asked(p, decision, values) + _rivals(p) if causes else _missing(p.check) or WORDS["no_rival"],
        next=advice,
        drawn=WORDS["drawn"].format(first=_makes(first, p, values)) if named and causes else "",
    )


def _shows(p: Print, values: dict[str, str]) -> str:
    marked = int((p.pattern > 0).sum())
    key = "shows_nothing" if marked == 0 else "shows_little" if marked == 1 else "shows"
    return WORDS[key].format(**values)


def _made_by(p: Print, values: dict[str, str]) -> str:
    first, second = p.evidence.ranked[:2]
    chance = p.evidence.per_mille
    parts = {
        "first": _makes(first, p, values),
        "second": _makes(second, p, values),
        "first_share": _share(chance[first]),
        "second_share": _share(chance[second]),
    }
    if chance[first] < BARS["named"]:
        return WORDS["no_cause"].format(**parts)
    return WORDS["likely_or" if chance[second] >= BARS["rival"] else "likely"].format(**parts)


def _share(per_mille: int) -> str:
    """In tens of per cent: the model knows no more.

    >>> _share(551), _share(981)
    ('about 60 %', 'over 90 %')
    """
    tens = 10 * ((per_mille + 50) // 100)
    return WORDS["share_high"] if tens >= 100 else WORDS["share"].format(tens=max(tens, 10))


def _makes(cause: str, p: Print, values: dict[str, str]) -> str:
    key = cause
    if cause == "good" and p.check.state == "run_in":
        key = "good_run_in"
    if cause == "tilt" and p.journal.tapered is not None:
        key = "tilt_tapered" if p.journal.tapered else "tilt_straight"
    if cause in ("hollow", "proud") and p.journal.straight:
        key = f"{cause}_straight"
    return MAKES[key].format(**values)


def _rivals(p: Print) -> str:
    first, second = p.evidence.ranked[:2]
    missing = _missing(p.check)
    if p.evidence.per_mille[second] < BARS["rival"]:
        return missing or WORDS["no_rival"]
    pair = RIVALS.get(f"{first} {second}") or RIVALS.get(f"{second} {first}") or RIVALS["other"]
    return f"{pair} {missing}".strip()


def _asked(p: Print, decision: Decision, values: dict[str, str]) -> str:
    """A question where the print is said to carry at one end and yet marks most of the length."""
    carries, live = covered(p.pattern, p.live), p.live.any(axis=0)
    everywhere = live.any() and float(carries[live].mean()) >= p.criteria.min_coverage
    return f"{WORDS['whole_length'].format(**values)} " if decision.code in TILTED and everywhere else ""


def _missing(check: Check) -> str:
    clearance, film = check.clearance_um is None, not check.film and check.film_um is None
    if clearance and film:
        return WORDS["missing_both"]
    return WORDS["missing_clearance"] if clearance else WORDS["missing_film"] if film else ""


def _values(p: Print, decision: Decision) -> dict[str, str]:
    areas = places(p.pattern)
    carries, live = covered(p.pattern, p.live), p.live.any(axis=0)
    coverage = float(carries[live].mean()) if live.any() else 0.0
    n = len(areas)
    return {
        "coverage": f"{5 * _whole(20 * coverage)} %",
        "min_coverage": f"{_whole(100 * p.criteria.min_coverage)} %",
        "reach": str(5 * _whole(reach_deg(p.pattern, p.live) / 5)),
        "min_arc": f"{p.criteria.min_arc_deg:g}",
        "max_arc": f"{p.criteria.max_arc_deg:g}",
        "areas": WORDS["area"] if n == 1 else WORDS["areas"].format(n=n),
        "where": _where(areas[0], p.pattern.shape[1], p.check) if areas else WORDS["nowhere"],
        "end": p.check.outer_end if p.evidence.last_end >= 0.5 else p.check.pump_end,
        "side": _side(p.evidence.last_side >= 0.5, p.check),
        "turned": str(_whole(p.check.turned_deg or 0.0)),
        "max_turn": str(_whole(p.criteria.max_turn_deg)),
        "scrapeable": WORDS["scrapeable_no" if p.check.scrapeable == "no" else "scrapeable_unknown"],
        **_journal(p.journal),
    }


def _journal(journal: Journal) -> dict[str, str]:
    taper, crown = journal.tapered, "journal_unknown"
    if journal.straight:
        crown = "journal_straight"
    elif journal.crowned:
        crown = "journal_crowned"
    barrel = str(_whole(abs(journal.barrel_um or 0.0)))
    return {
        "taper": str(_whole(abs(journal.taper_um or 0.0))),
        "barrel": barrel,
        "taper_next": WORDS["taper_unknown" if taper is None else "taper_no"],
        "journal_next": WORDS[crown].format(barrel=barrel),
    }


def _where(place: Place, columns: int, check: Check) -> str:
    cell = 1.0 / columns
    first, last = place.first < 0.5 * cell, place.last > 1.0 - 0.5 * cell
    if first and last:
        along = WORDS["end_to_end"]
    elif first or last:
        end = check.pump_end if first else check.outer_end
        along = WORDS["at_end" if place.last - place.first <= 0.5 else "past_middle"].format(end=end)
    elif abs(place.along - 0.5) < 0.18:
        along = WORDS["mid_length"]
    else:
        along = WORDS["towards"].format(end=check.pump_end if place.along < 0.5 else check.outer_end)
    if abs(place.angle_deg) < OFF_CENTRE_DEG:
        around = {"lower": WORDS["bottom"], "upper": WORDS["top"]}.get(check.half, WORDS["centre"])
    else:
        around = WORDS["on"].format(side=_side(place.angle_deg > 0, check))
    return f"{along}, {around}"


def _side(last: bool, check: Check) -> str:
    """The side of the last row (or the first), with the pump end first, in the words that
    the check allows.
    """
    if not check.first_side:
        # The picture as it was given: its rows change places where it was turned to bring the pump end first.
        return WORDS["last_row" if last != check.rotated else "first_row"]
    return WORDS["right" if last != check.right_first else "left"]


def _whole(value: float) -> int:
    """To the nearest whole number, halves up, the same in every language."""
    return int(np.floor(value + 0.5))
