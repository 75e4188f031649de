"""From what a pattern shows to what to do: the deciding reason first, then what else is worth saying."""

from __future__ import annotations

from dataclasses import dataclass

from .criteria import Criteria
from .facts import Facts

VOID = "void"  # the check says nothing here
REMARK = ""  # worth saying, decides nothing


@dataclass(frozen=True)
class Arc:
    """The print around the shell and what the clearance allows, in degrees of the whole arc.

    deg, low_deg, high_deg : as printed; the edges lie somewhere in a cell, so 95 % from low to high.
    allowed : (from, to) for the thinnest and thickest film of the class; None where clearance or film is
        not known.
    width_mm : of the print around the journal; None without its diameter.
    """

    deg: float
    low_deg: float
    high_deg: float
    allowed: tuple[float, float] | None = None
    width_mm: float | None = None

    @property
    def too_wide(self) -> bool:
        """Surely wider than the thickest film of its class prints."""
        return self.allowed is not None and self.low_deg > self.allowed[1]

    @property
    def too_narrow(self) -> bool:
        """Surely narrower than the thinnest film of its class prints."""
        return self.allowed is not None and self.high_deg < self.allowed[0]


@dataclass(frozen=True)
class Case:
    """All that the rules look at. shape : as `refined` names it. coverage : share of the length, 0 to 1."""

    shape: str
    coverage: float
    arc: Arc
    facts: Facts
    criteria: Criteria
    rival: str = ""


def refined(lie: str, misfit: float, empty: bool, arc: Arc, criteria: Criteria) -> str:
    """The shape's name: how the shaft lies, unless nothing printed, nothing fits, or the
    arc says otherwise.
    """
    if empty:
        return "none"
    if misfit > criteria.max_misfit:
        return "patchy"
    if lie == "full" and arc.deg > criteria.max_arc_deg:
        return "flooded"
    if lie == "full" and (arc.too_narrow or (arc.allowed is None and arc.deg < criteria.min_arc_deg)):
        return "narrow"
    return lie


def decide(case: Case) -> list[tuple[str, str]]:
    """(code, effect) of every reason: an outcome, `VOID` or `REMARK`; the first that is no remark decides."""
    if void := _void(case.facts):
        return [(void, VOID), *_worn(case)]
    found = []
    if (case.facts.turned_deg or 0.0) > case.criteria.max_turn_deg:
        found.append(("turned_too_far", "repeat"))
    close = [("close_call", REMARK)] if case.rival else []
    return [*found, *_shape(case), *close, *_arc(case), *_worn(case)]


def _void(facts: Facts) -> str:
    # On a mandrel the shell is off its seat, and both halves can be looked at.
    if facts.in_place is False:
        return ""
    if facts.seat == "spherical":
        return "spherical_seat"
    return "" if facts.loaded else "unloaded_half"


def _shape(case: Case) -> list[tuple[str, str]]:
    shape, facts = case.shape, case.facts
    if shape in ("one_end", "diagonal"):
        if facts.in_place:
            return [(shape, "alignment")]
        return [(shape, "repeat"), ("place_unknown" if facts.in_place is None else "on_mandrel", REMARK)]
    if shape == "narrow":
        return [(shape, "repeat" if case.arc.allowed is None else "scrape")]
    if shape != "full":
        return [(shape, "scrape" if shape in ("both_ends", "middle") else "repeat")]
    # Thick dye fills the low places, so only what it leaves bare means something.
    if facts.film == "heavy":
        return [("film_heavy", "repeat")]
    if case.arc.too_wide:
        return [("too_wide", "repeat")]
    if case.coverage < case.criteria.min_coverage:
        return [("short", "scrape")]
    return [("full", "acceptable")]


def _arc(case: Case) -> list[tuple[str, str]]:
    arc, shape = case.arc, case.shape
    if shape in ("none", "patchy", "flooded", "narrow"):
        return []
    if arc.allowed is None:
        return [("arc_unknown", REMARK)]
    if arc.too_wide:
        return [] if shape == "full" else [("wide_besides", REMARK)]
    if shape == "full" and arc.allowed[1] < case.criteria.min_arc_deg:
        return [("narrow_as_allowed", REMARK)]
    return [] if arc.too_narrow else [("arc_as_allowed", REMARK)]


def _worn(case: Case) -> list[tuple[str, str]]:
    facts = case.facts
    if facts.worn_arc_deg is None:
        return []
    if facts.bedded_by_hand is None:
        return [("bedded_unknown", REMARK)]
    return [("bedded_no_hint" if facts.bedded_by_hand else "worn_arc", REMARK)]
