"""From the weight of the causes to one outcome: safety first, then what a careful fitter would do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .check import Check
from .criteria import Criteria
from .evidence import Evidence
from .journal_form import Journal
from .pattern import Pattern
from .places import Place, angles_deg, covered, places, reach_deg
from .shared_table import TABLE

BARS = TABLE["bars"]
GROUPS: dict[str, list[str]] = TABLE["groups"]
SPOTS = ("first_spot", "spot", "ask_spot")  # codes of prints that showed a spot
UNWORN = ("new", "scraped")  # states of a shell that has not run
CROWNS = ("hollow", "proud", "hollow_off", "proud_off", "ask_crown")


@dataclass(frozen=True)
class Earlier:
    """What an earlier print of the same visit showed: its code and where it printed, the pump end first."""

    code: str
    places: tuple[Place, ...] = ()


@dataclass(frozen=True)
class Decision:
    """code : the reason, a key of the table's words. outcome : `acceptable`, `scrape`, ...; empty for void.

    engineer : the shell must not be scraped, or it is not known whether it may be: ask the engineer.
    """

    code: str
    outcome: str
    engineer: bool = False


@dataclass(frozen=True)
class Print:
    """One print with all that the rules look at; the pump end first."""

    pattern: Pattern
    check: Check
    criteria: Criteria
    evidence: Evidence
    journal: Journal
    earlier: tuple[Earlier, ...] = ()

    @property
    def live(self) -> NDArray[np.bool_]:
        return ~self.check.silent(*self.pattern.shape)

    def sum(self, *causes: str) -> int:
        """Probability of these causes together, thousandths."""
        return sum(self.evidence.per_mille[cause] for cause in causes)


def void(check: Check) -> str:
    """Why this check says nothing here, or empty; on a mandrel the shell is off its seat, and both halves can
    be looked at.
    """
    if check.in_place is False:
        return ""
    if check.seat == "spherical":
        return "spherical_seat"
    return "" if check.loaded else "unloaded_half"


def bare(pattern: Pattern, live: NDArray[np.bool_]) -> bool:
    """At most one cell printed: nothing to read."""
    return bool(int(((pattern > 0) & live).sum()) < BARS["least_marked"])


def decide(p: Print) -> Decision:
    """The first rule that holds; the order is the table's, safety first."""
    if code := void(p.check):
        return Decision(code, "")
    if bare(p.pattern, p.live):
        return Decision("bare", "repeat")
    if (p.check.turned_deg or 0.0) > p.criteria.max_turn_deg:
        return Decision("turned_too_far", "repeat")
    decision = _read(p)
    if p.check.in_place is not True and decision.outcome in ("alignment", "acceptable"):
        decision = _out_of_place(p.check, decision)
    finding = decision.outcome not in ("acceptable", "repeat") and decision.code != "clearance_open"
    return Decision(decision.code, decision.outcome, finding and p.check.scrapeable != "yes")


def astride(pattern: Pattern, live: NDArray[np.bool_]) -> bool:
    """In half the columns or more it prints beyond 26 degrees on both sides and nothing near the bottom."""
    angle = angles_deg(len(pattern))
    within = max(BARS["astride_within_deg"], 90.0 / len(pattern))
    marked = (pattern > 0) & live
    low = np.abs(angle) <= within + 1e-9
    left, right = angle < -BARS["astride_beyond_deg"], angle > BARS["astride_beyond_deg"]
    lying = marked[left].any(axis=0) & marked[right].any(axis=0) & ~marked[low].any(axis=0)
    told = live[low].any(axis=0)
    return bool(told.any() and (lying & told).sum() >= BARS["astride_share"] * told.sum())


def same_place(first: Sequence[Place], second: Sequence[Place]) -> bool:
    """The heaviest area of one print lies within a cell or two of an area of the other, and the other way
    round.
    """
    return _near(first[:1], second) and _near(second[:1], first)


def _near(heaviest: Sequence[Place], others: Sequence[Place]) -> bool:
    return any(
        abs(a.along - b.along) <= BARS["same_along"] and abs(a.angle_deg - b.angle_deg) <= BARS["same_deg"]
        for a in heaviest
        for b in others
    )


def _read(p: Print) -> Decision:
    if astride(p.pattern, p.live):
        return Decision("astride", "seat")
    if _is_good(p):
        fits = _good(p)
        return (_open(p) or fits) if fits.outcome == "acceptable" else fits
    if spot := _spot(p):
        return spot
    wide = p.sum("thick", "tight", "pinch")
    if wide >= BARS["wide"] and p.sum("tight") >= BARS["wide_tight"] and p.sum("pinch") < BARS["wide_pinch"]:
        return Decision("wide", "measure")
    outcome = max(GROUPS, key=lambda name: p.sum(*GROUPS[name]))
    if p.sum(*GROUPS[outcome]) < BARS["named"]:
        return Decision("does_not_tell", "repeat")
    cause = max(GROUPS[outcome], key=p.sum)
    if cause in ("spot", "spots"):
        return Decision("spot_unsure", "repeat")
    return Decision("taper" if cause == "tilt" and p.journal.tapered else cause, outcome)


def _is_good(p: Print) -> bool:
    return bool(p.sum("good") >= BARS["good"] and p.sum("tilt", "skew", "side") <= BARS["good_alignment"])


def _open(p: Print) -> Decision | None:
    """What keeps a print that fits from being accepted: a clearance, a spot or a form that it does not rule
    out.
    """
    clearance = (
        p.sum("pinch", "tight", "large") > BARS["good_clearance"] or p.sum("pinch") > BARS["good_pinch"]
    )
    if clearance or p.sum("large") > BARS["good_large"] or _measured_once(p):
        return Decision("clearance_open", "measure")
    spots, crown = p.sum("spot", "spots", "uneven"), p.sum("hollow", "proud")
    unlike = spots > BARS["good_spots"] or crown > BARS["good_crown"]
    return Decision("spot_open", "repeat") if unlike else None


def _measured_once(p: Print) -> bool:
    """A print hardly tells a tight or a loose shell: the clearance must, and one measurement of it may be
    mistaken.

    A shell that has run beds over the arc it has worn: how wide it prints says nothing of its clearance, and
    only a second measurement decides; so too where it is not known whether it has run.
    """
    if p.check.measured_twice or p.check.state not in UNWORN:
        return not p.check.measured_twice
    tight, large = p.sum("tight"), p.sum("large")
    either = max(tight, large) > BARS["once_each"] or tight + large > BARS["once_both"]
    return bool(either or p.sum("pinch", "thick", "tight") > BARS["once_wide"])


def _good(p: Print) -> Decision:
    live = np.asarray(p.live.any(axis=0))
    carries = covered(p.pattern, p.live)
    if p.check.film == "heavy":
        return Decision("film_heavy", "repeat")
    if carries[live].mean() < p.criteria.min_coverage:
        return Decision("short", "repeat")
    end = max(1, int(len(carries) * BARS["end_share"] + 0.5))
    for part in (slice(0, end), slice(len(carries) - end, None)):
        if live[part].any() and not (carries & live)[part].any():
            return Decision("bare_end", "repeat")
    return Decision("arc_outside", "repeat") if _arc_refused(p) else Decision("good", "acceptable")


def _arc_refused(p: Print) -> bool:
    """A plant's own arcs, where it set them, hold a shell that has not run: half a row may be misjudged."""
    if p.criteria.author == Criteria.author or p.check.state == "run_in":
        return False
    arc, row = reach_deg(p.pattern, p.live), 180.0 / len(p.pattern)
    return arc + 0.5 * row < p.criteria.min_arc_deg or arc - 0.5 * row > p.criteria.max_arc_deg


def _spot(p: Print) -> Decision | None:
    """A high spot: cleaned and laid in again the first time, scraped only where it returns."""
    straight = p.journal.straight is True
    crown, spots = p.sum("hollow", "proud"), p.sum("spot", "spots")
    if spots + (crown if straight else 0) < BARS["spot"]:
        return None
    if p.sum("pinch", "tight", "large", "tilt", "skew", "side") > BARS["spot_forbidden"]:
        return None
    if not straight and crown > BARS["spot_crown"]:
        return None
    if _high_share(p) >= BARS["spot_high_share"]:
        return Decision("up_the_sides", "seat")
    if crown > spots:
        return _crown(p)
    if not _returned(p, SPOTS):
        return Decision("first_spot", "repeat")
    return Decision("spot", "scrape") if p.check.scrapeable == "yes" else Decision("ask_spot", "measure")


def _crown(p: Print) -> Decision:
    cause = "hollow" if p.sum("hollow") >= p.sum("proud") else "proud"
    if not any(before.code in CROWNS for before in p.earlier):
        return Decision(cause, "measure")
    return (
        Decision(f"{cause}_off", "scrape")
        if p.check.scrapeable == "yes"
        else Decision("ask_crown", "measure")
    )


def _returned(p: Print, codes: Sequence[str]) -> bool:
    here = places(np.where(p.live, p.pattern, 0))
    return any(before.code in codes and same_place(before.places, here) for before in p.earlier)


def _high_share(p: Print) -> float:
    marked = (p.pattern > 0) & p.live
    high = np.abs(angles_deg(len(marked))) > BARS["spot_high_deg"]
    return float(marked[high].sum() / max(marked.sum(), 1))


def _out_of_place(check: Check, decision: Decision) -> Decision:
    """A mandrel shows neither alignment nor taper; where it was taken has to be known for either."""
    if check.in_place is None:
        return Decision("place_unknown", "repeat")
    if decision.outcome == "alignment":
        return Decision("mandrel_alignment", "repeat")
    return Decision("mandrel_good", "repeat") if check.loaded else decision
