"""What is the matter at the open bearing, and which outcomes a careful fitter would allow there.

Allowed outcomes are common practice with no published source: never scrape or accept what may be pinched,
tight, loose or out of line; nothing is scraped on a first print; a shell that must not be scraped goes to the
engineer.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from .judge_eye import Dye
from .judge_press import Shell

Rng = np.random.Generator
CLASSES = {"thin": (3.0, 7.0), "normal": (7.0, 15.0), "heavy": (15.0, 40.0)}
NEIGHBOURS = {"thin": ("normal",), "normal": ("thin", "heavy"), "heavy": ("normal",)}


@dataclass
class Case:
    """One opened bearing. clearance : um, what the record believes before the spread of its gauge.

    allowed : outcomes of the first print; again : of the next one. causes : any of these is true.
    """

    shell: Shell
    dye: Dye
    said_film: str
    clearance: float | None
    state: str
    scrapeable: str
    diameters: bool
    measured_twice: bool
    turned_deg: float
    kind: str = ""
    causes: frozenset[str] = frozenset()
    allowed: set[str] = field(default_factory=set)
    again: set[str] = field(default_factory=set)
    next_shell: Shell | None = None

    @property
    def h(self) -> float:
        return self.dye.film


def _sign(rng: Rng) -> float:
    return float(rng.choice((-1.0, 1.0)))


def bearing(rng: Rng, worn: bool, mandrel: bool) -> Case:
    """A bearing with nothing the matter but what every bearing has."""
    said = str(rng.choice(list(CLASSES), p=(0.25, 0.6, 0.15)))
    low, high = CLASSES[said]
    h = float(np.exp(rng.uniform(math.log(low), math.log(high))))
    if rng.random() < 0.10:
        said = str(rng.choice(NEIGHBOURS[said]))
    state = "run_in" if worn else str(rng.choice(("new", "scraped")))
    r = 0.5 * float(np.exp(rng.uniform(math.log(90.0), math.log(300.0))))
    depth = float(rng.uniform(15.0, 110.0)) if worn else 0.0
    worn_to = float(rng.uniform(-0.08, 0.08)) if worn else 0.0
    worn_at = math.radians(rng.normal(0.0, 4.0)) if worn else 0.0
    shell = Shell(
        r=r,
        worn=depth,
        worn_at=worn_at,
        worn_to=worn_to,
        tilt=rng.uniform(-0.4, 0.4) * h + 2.0 * depth * worn_to,  # worn the way it ran
        skew=rng.uniform(-0.3, 0.3) * h if worn else rng.uniform(-0.06, 0.06) * r,
        oval=rng.uniform(-0.08, 0.08) * r,
        bore_crown=rng.uniform(-0.3, 0.3) * h,
        power=rng.uniform(1.6, 3.5),
        waves=[
            (
                rng.uniform(0.0, 0.8 if worn else 2.0),
                rng.uniform(1.0, 3.0),
                rng.uniform(1.0, 8.0),
                rng.uniform(0.0, 6.3),
            )
            for _ in range(3)
        ],
        relief=math.radians(rng.uniform(55.0, 78.0)) if rng.random() < 0.30 else None,
        at_side=worn_at if worn else math.radians(rng.uniform(-9.0, 9.0)),
        held=bool(rng.random() < 0.5),
        friction=rng.uniform(0.05, 0.25),
        mandrel=mandrel,
    )
    if rng.random() < 0.15:
        start = rng.uniform(0.35, 0.58)
        shell.groove = (start, start + rng.uniform(0.06, 0.14))
    turned = 0.0 if rng.random() < 0.3 else float(rng.uniform(0.0, 5.0))
    mottle = float(rng.uniform(0.0, 0.45 if state == "scraped" else 0.15))
    dye = Dye(h, rng.uniform(-0.25, 0.25), rng.uniform(-0.15, 0.15), mottle, math.radians(turned))
    scrapeable = str(rng.choice(("yes", "no", ""), p=(0.6, 0.2, 0.2)))
    twice = bool(rng.random() < 0.4)
    measured = bool(rng.random() < 0.7)
    return Case(shell, dye, said, 2.0 * r + depth, state, scrapeable, measured, twice, turned)


def _good(case: Case, rng: Rng) -> set[str]:
    return {"acceptable"}


def _wide(case: Case, rng: Rng) -> set[str]:
    case.shell.r = rng.uniform(150.0, 280.0)
    case.clearance = 2.0 * case.shell.r
    return {"acceptable"}


def _close(case: Case, rng: Rng) -> set[str]:
    case.shell.r = rng.uniform(25.0, 45.0)
    case.clearance = 2.0 * case.shell.r
    return {"acceptable"}


def _out_of_line(case: Case, rng: Rng) -> set[str]:
    size = min(rng.uniform(1.8, 6.0) * case.h, 1.4 * (case.shell.r + case.shell.worn))
    case.shell.tilt = _sign(rng) * max(size, 1.7 * case.h)
    return {"alignment"}


def _slightly(case: Case, rng: Rng) -> set[str]:
    case.shell.tilt = _sign(rng) * rng.uniform(1.15, 1.7) * case.h
    return {"alignment", "repeat"}


def _carried_at_one_end(case: Case, rng: Rng) -> set[str]:
    case.shell.worn = max(case.shell.worn, 45.0)
    case.shell.worn_to = _sign(rng) * rng.uniform(0.8, 1.0)
    case.shell.tilt = 2.0 * case.shell.worn * case.shell.worn_to
    case.clearance = 2.0 * case.shell.r + case.shell.worn
    return {"alignment", "measure"}  # the clearance at both ends tells as much; see `beside_the_cause`


def _taper(case: Case, rng: Rng) -> set[str]:
    case.shell.shaft_taper = _sign(rng) * rng.uniform(1.9, 5.0) * case.h
    return {"alignment", "measure"}


def _skew(case: Case, rng: Rng) -> set[str]:
    size = 2.0 * case.shell.r * math.sin(math.radians(rng.uniform(20.0, 36.0)))
    case.shell.skew = _sign(rng) * max(size, 2.2 * case.h)
    return {"alignment"}


def _side(case: Case, rng: Rng) -> set[str]:
    case.shell.held, case.shell.at_side = True, _sign(rng) * math.radians(rng.uniform(22.0, 45.0))
    return {"alignment"}


def _hollow_bore(case: Case, rng: Rng) -> set[str]:
    case.shell.bore_crown = rng.uniform(1.4, 5.0) * case.h
    return {"measure", "seat"}


def _hollow_shaft(case: Case, rng: Rng) -> set[str]:
    case.shell.shaft_crown = rng.uniform(1.4, 5.0) * case.h
    return {"measure"}


def _proud_bore(case: Case, rng: Rng) -> set[str]:
    case.shell.bore_crown = -rng.uniform(1.6, 5.0) * case.h
    return {"measure"}


def _barrel(case: Case, rng: Rng) -> set[str]:
    case.shell.shaft_crown = -rng.uniform(1.6, 5.0) * case.h
    return {"measure"}


def _bump(case: Case, rng: Rng, x: float, stands: float | None = None) -> None:
    """A high spot that carries: it stands out of the gap that would be there."""
    shell, angle = case.shell, math.radians(rng.uniform(-25.0, 25.0))
    wide, reach = rng.uniform(0.18, 0.5), math.radians(rng.uniform(9.0, 26.0))
    there = 0.0 if shell.worn else shell.r * (1.0 - math.cos(angle))
    over = stands or max(1.3 * case.h, min(rng.uniform(1.3, 3.5) * case.h, 35.0))
    shell.bumps.append((x, angle, wide, reach, there + over))


def _spot(case: Case, rng: Rng) -> set[str]:
    _bump(case, rng, rng.uniform(-0.6, 0.6))
    return {"scrape"}


def _end_spot(case: Case, rng: Rng) -> set[str]:
    _bump(case, rng, _sign(rng) * rng.uniform(0.7, 0.9))
    return {"scrape"}


def _spots(case: Case, rng: Rng) -> set[str]:
    start = rng.uniform(-0.85, -0.45)
    places = [start, start + rng.uniform(0.7, 1.2)] + ([0.8] if rng.random() < 0.35 else [])
    over = rng.uniform(1.4, 3.0) * case.h
    for place in places:
        _bump(case, rng, place, over * rng.uniform(0.85, 1.15))
    return {"scrape"}


def _dirt(case: Case, rng: Rng) -> set[str]:
    clean = replace(case.shell, bumps=[])
    _bump(case, rng, rng.uniform(-0.8, 0.8))
    case.next_shell = clean
    return {"repeat"}


def _pinched(case: Case, rng: Rng, low: float = 0.4) -> set[str]:
    shell = case.shell
    shell.pinch, shell.pinch_power = rng.uniform(low, 0.9) * shell.r, rng.uniform(1.4, 3.2)
    shell.unlike, shell.pinch_along = rng.uniform(-0.1, 0.1), rng.uniform(-0.2, 0.2)
    shell.at_side *= 0.4
    shell.relief = None
    return {"seat"}


def _unlike(case: Case, rng: Rng) -> set[str]:
    _pinched(case, rng, 0.55)
    case.shell.unlike = _sign(rng) * rng.uniform(0.2, 0.45)
    return {"seat"}


def _pinched_wide(case: Case, rng: Rng) -> set[str]:
    _wide(case, rng)
    return _pinched(case, rng, 0.6)


def _thick(case: Case, rng: Rng) -> set[str]:
    film = CLASSES[case.said_film][1] * rng.uniform(1.8, 3.5)
    case.dye = replace(case.dye, film=film)
    case.shell.r = min(case.shell.r, film * rng.uniform(1.1, 2.6))
    case.clearance = 2.0 * case.shell.r + case.shell.worn
    return {"repeat", "measure"}


def _mistaken(case: Case, rng: Rng) -> None:
    case.measured_twice = bool(rng.random() < 0.03)


def _tight(case: Case, rng: Rng) -> set[str]:
    case.clearance = rng.uniform(110.0, 300.0)
    case.shell.r = max(0.5 * case.clearance * rng.uniform(0.08, 0.35), 3.0)
    _mistaken(case, rng)
    return {"measure", "seat"}


def _under_size(case: Case, rng: Rng) -> set[str]:
    case.shell.r, case.shell.relief = -rng.uniform(4.0, 30.0), math.radians(rng.uniform(50.0, 75.0))
    case.shell.relief_share = 2.0
    case.clearance = rng.uniform(90.0, 220.0)
    case.shell.oval, case.shell.skew, case.shell.at_side = 0.0, 0.0, 0.0
    _mistaken(case, rng)
    return {"measure", "seat"}


def _large(case: Case, rng: Rng) -> set[str]:
    case.shell.r *= rng.uniform(2.2, 5.0)
    _mistaken(case, rng)
    return {"measure"}


def _uneven(case: Case, rng: Rng) -> set[str]:
    case.dye = replace(case.dye, blotched=True)
    return {"repeat"}


def _nothing(case: Case, rng: Rng) -> set[str]:
    case.dye = replace(case.dye, film=0.0)
    return {"repeat"}


def _turned(case: Case, rng: Rng) -> set[str]:
    case.turned_deg = rng.uniform(35.0, 180.0)
    case.dye = replace(case.dye, turned=math.radians(20.0))
    return {"repeat"}


Draw = Callable[[Case, Rng], set[str]]
# share of the prints, cause, worn, may be on a mandrel, what is the matter
KINDS: dict[str, tuple[float, str, bool, bool, Draw]] = {
    "good": (10.0, "good", False, True, _good),
    "good, large clearance known": (4.0, "good", False, False, _wide),
    "good, small clearance known": (3.0, "good", False, False, _close),
    "run in, good": (8.0, "good", True, False, _good),
    "out of line": (6.0, "tilt", False, False, _out_of_line),
    "slightly out of line": (3.0, "tilt", False, False, _slightly),
    "run in, now out of line": (2.0, "tilt", True, False, _out_of_line),
    "run in at one end": (2.0, "tilt", True, False, _carried_at_one_end),
    "tapered shaft": (3.5, "tilt", False, False, _taper),
    "skewed": (2.5, "skew", False, False, _skew),
    "to one side": (3.0, "side", False, False, _side),
    "hollow bore": (2.5, "hollow", False, True, _hollow_bore),
    "hollow shaft": (2.5, "hollow", False, False, _hollow_shaft),
    "proud bore": (2.5, "proud", False, True, _proud_bore),
    "barrel shaft": (2.5, "proud", False, False, _barrel),
    "spot": (4.0, "spot", False, True, _spot),
    "spot at one end": (2.5, "spot", False, False, _end_spot),
    "spots": (3.5, "spots", False, True, _spots),
    "run in, spot": (2.0, "spot", True, False, _spot),
    "dirt behind the shell": (2.0, "spot", False, False, _dirt),
    "pinched": (3.5, "pinch", False, False, _pinched),
    "pinched, sides unlike": (2.5, "pinch", False, False, _unlike),
    "pinched, wide": (2.5, "pinch", False, False, _pinched_wide),
    "run in, pinched": (1.5, "pinch", True, False, _pinched),
    "thick dye": (3.0, "thick", False, True, _thick),
    "tight": (3.5, "tight", False, False, _tight),
    "bore under size": (3.0, "tight", False, False, _under_size),
    "loose": (3.5, "large", False, False, _large),
    "run in, loose": (0.5, "large", True, False, _large),
    "uneven dye": (3.0, "uneven", False, True, _uneven),
    "nothing printed": (2.0, "", False, False, _nothing),
    "turned too far": (1.0, "", False, False, _turned),
}
GROUPS = {
    "pinch": ("pinched", "pinched, sides unlike", "pinched, wide", "run in, pinched"),
    "tight": ("tight", "bore under size"),
    "loose": ("loose", "run in, loose"),
}
SPOT_CAUSES = {"spot", "spots"}


def drawn(kind: str, rng: Rng) -> Case:
    """A bearing of this kind."""
    _, cause, worn, on_mandrel, draw = KINDS[kind]
    case = bearing(rng, worn, bool(on_mandrel and rng.random() < 0.3))
    allowed = draw(case, rng)
    case.kind, case.causes = kind, frozenset({cause} if cause else ())
    if kind == "bore under size":
        case.causes |= {
            "pinch"
        }  # named as one: "a shell drawn in at its joints, or a bore smaller than the journal"
    case.allowed, case.again = set(allowed), set(allowed)
    if cause in SPOT_CAUSES:
        case.allowed = {"repeat"}
        case.again = {"scrape"} if case.scrapeable == "yes" else {"engineer"}
    if kind == "dirt behind the shell":
        case.again = {"acceptable"}
    if kind in ("hollow bore", "proud bore") and (case.diameters or case.shell.mandrel):
        case.allowed.add(
            "repeat"
        )  # the shaft is known straight: as with a spot, laid in again before any scrape
        case.again |= {"scrape"} if case.scrapeable == "yes" else {"engineer"}
    if kind == "good" and case.shell.mandrel:
        case.allowed = case.again = {"repeat"}
    return case


def likely_kind(rng: Rng) -> str:
    """A kind, as often as its share says."""
    weights = np.array([row[0] for row in KINDS.values()])
    return str(rng.choice(list(KINDS), p=weights / weights.sum()))


def beside_the_cause(case: Case, wide: float, bare_end: bool, marks: int) -> set[str]:
    """Outcomes allowed because of what the print itself shows, whatever the cause."""
    more = set()
    if marks <= 1:
        more.add("repeat")
    if case.kind == "run in at one end" and wide >= 0.75 and not bare_end:
        more.add(
            "acceptable"
        )  # the shaft beds in its own wear from end to end: only the clearances tell the ends apart
    if "acceptable" not in case.allowed | case.again:
        return more
    ratio = case.shell.r / max(case.h, 1e-6)
    arc = 2.0 * math.degrees(math.acos(1.0 - 1.0 / ratio)) if ratio > 0.5 else 180.0
    if not case.shell.worn and not 45.0 <= arc <= 120.0:
        more.add("measure")  # too narrow a line, or so wide that the oil film no longer forms
    if wide < 0.75 or bare_end or "heavy" in (case.said_film,) or case.h > 15.0:
        more.add("repeat")
    return more
