"""The second judge of the contact reader: prints of shafts and shells with known truth, each laid in twice.

    python -m tests.bench.judge_contact --n 2000 --first 70211

The press (`judge_press`), the person (`judge_eye`) and the kinds with their allowed outcomes (`judge_kinds`)
are made from the physics alone and share no code with the reader or with `trial_press`.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from inspections.contact.check import Check
from inspections.contact.criteria import Criteria
from inspections.contact.pattern import turned
from inspections.contact.reader import PrintReading, prepare, read_print

from .judge_eye import Blue, Person, careful, person, pressed
from .judge_kinds import GROUPS, KINDS, Case, beside_the_cause, drawn, likely_kind
from .judge_press import shaft_radius

COARSE, FINE = (5, 7), (10, 14)
PERMISSIVE = {"acceptable", "scrape"}
EDGES = (0.0, 0.4, 0.6, 0.8, 0.9, 0.97, 1.001)
Rng = np.random.Generator


@dataclass(frozen=True)
class Verdict:
    """One print as read: what came out, what was allowed, and the same after turning the shell."""

    outcome: str
    allowed: frozenset[str]
    stated: float | None
    true_cause: bool
    alike: bool
    seconds: float
    reading: PrintReading

    @property
    def right(self) -> bool:
        return self.outcome in self.allowed

    @property
    def unsafe(self) -> bool:
        return self.outcome in PERMISSIVE and not self.right


@dataclass(frozen=True)
class Trial:
    kind: str
    fine: bool
    verdicts: tuple[Verdict, Verdict]
    measured_twice: bool

    @property
    def good(self) -> bool:
        return KINDS[self.kind][1] == "good"

    def asked_again(self, which: int) -> bool:
        """Whether a good shell whose clearance was measured only once is asked to be measured again; counted
        as wrong.
        """
        verdict = self.verdicts[which]
        open_to_it = verdict.reading.code == "clearance_open" and not self.measured_twice
        return self.good and not verdict.right and open_to_it


def facts(case: Case, rng: Rng, spread: float) -> Check:
    """What the mechanic and the record say of it: in part wrong, in part left out. spread : 0 for none, else
    1.
    """
    shell, u = case.shell, float(rng.uniform(6.0, 14.0))
    told = rng.random(4)
    clearance = None if case.clearance is None else max(case.clearance + spread * u * rng.normal(), 5.0)
    gained = shell.worn + spread * u * rng.normal() if shell.worn and told[0] < 0.85 else None
    groove = (shell.groove or ()) if told[1] < 0.7 else None
    relief = 90.0 if shell.relief is None else float(np.degrees(shell.relief))
    planes = np.array([-0.9, 0.0, 0.9])
    radii = shaft_radius(shell, planes)
    sizes = 120_000.0 + 2.0 * radii[:, None] + 1.5 * spread * rng.normal(size=(3, 2))
    known = case.diameters and not shell.mandrel
    return Check(
        half="lower",
        in_place=not shell.mandrel,
        seat="cylindrical",
        clearance_um=clearance,
        clearance_sd_um=u,
        measured_twice=case.measured_twice,
        film=case.said_film,
        journal_mm=120.0,
        turned_deg=round(case.turned_deg),
        first_end="in",
        state=case.state if told[2] < 0.9 else "",
        gained_um=gained,
        gained_sd_um=None if gained is None else u,
        scrapeable=case.scrapeable,
        groove=groove,
        relief_deg=relief if told[3] < 0.5 else None,
        diameters_um=tuple((float(a), float(b)) for a, b in sizes) if known else None,
    )


def judged(case: Case, blue: Blue, check: Check, allowed: Iterable[str], earlier: tuple[Any, ...]) -> Verdict:
    """One print read as it is and turned end for end, against what was allowed."""
    begun = time.process_time()
    reading = read_print(blue.cells, check, Criteria(), earlier)
    seconds = time.process_time() - begun
    other = read_print(turned(blue.cells), check.turned(), Criteria(), earlier)
    outcome = str(reading.outcome)
    allowed = frozenset(allowed) | beside_the_cause(
        case, blue.wide, blue.bare_end, int((blue.cells > 0).sum())
    )
    if "seat" in allowed and case.kind in GROUPS["pinch"] and not blue.bridged:
        allowed |= {"measure"}  # the bottom prints too: thick dye, tight and pinched are one print
    if reading.engineer and (outcome == "scrape" or (outcome == "measure" and "engineer" in allowed)):
        outcome = "engineer"  # "measure" there reads "measure before doing more, and ask the engineer"
    return Verdict(
        outcome,
        allowed,
        reading.causes[0][1] / 1000.0 if reading.causes else None,
        bool(reading.causes) and reading.causes[0][0] in case.causes,
        (other.outcome, other.code, other.causes) == (reading.outcome, reading.code, reading.causes),
        seconds,
        reading,
    )


def trial(case: Case, who: Person, fine: bool, rng: Rng, spread: float = 1.0) -> Trial:
    """Pressed and read; cleaned, laid in again and read with the first print known."""
    check = facts(case, rng, spread)
    if rng.random() < 0.5:
        check = replace(check, first_end="out", first_side=str(rng.choice(("", "left", "right"))))
    shape = FINE if fine else COARSE

    def laid_in(shell: Any) -> Blue:
        blue = pressed(shell, case.dye, who, shape, rng)
        return replace(blue, cells=turned(blue.cells)) if check.first_end == "out" else blue

    first = judged(case, laid_in(case.shell), check, case.allowed, ())
    shell = case.next_shell or case.shell
    if not shell.held:
        shell = replace(shell, at_side=shell.at_side + float(rng.normal(0.0, 0.05)))
    seen = replace(case, causes=frozenset({"good"})) if case.next_shell else case
    again = judged(seen, laid_in(shell), check, case.again, (first.reading.as_earlier(),))
    return Trial(case.kind, fine, (first, again), case.measured_twice)


def random_trials(n: int, seed: int, only: str = "") -> list[Trial]:
    """n bearings of any kind, a third on the finer grid; of them those of one group where it is named."""
    trials = []
    for k in range(n):
        rng = np.random.default_rng((seed, k))
        kind = likely_kind(rng)
        if only and kind not in GROUPS[only]:
            continue
        case = drawn(kind, rng)
        trials.append(trial(case, person(rng), bool(rng.random() < 0.35), rng))
    return trials


def named_trials(seed: int) -> list[Trial]:
    """Each kind on both grids, tapped without a slip or a dab and with facts that hold."""
    trials = []
    for number, kind in enumerate(KINDS):
        for fine in (False, True):
            rng = np.random.default_rng((seed, 900 + number, fine))
            case = drawn(kind, rng)
            trials.append(trial(case, careful(), fine, rng, spread=0.0))
    return trials


def share(verdicts: list[Verdict]) -> str:
    """n, right %, unsafe and its %."""
    n = max(len(verdicts), 1)
    unsafe = sum(v.unsafe for v in verdicts)
    right = 100.0 * sum(v.right for v in verdicts) / n
    return f"{len(verdicts)} | {right:.1f} | {unsafe} ({100.0 * unsafe / n:.2f})"


def by(trials: list[Trial], wanted: Any) -> str:
    """One row's figures: first print, then laid in again."""
    kept = [t for t in trials if wanted(t)]
    return " | ".join(share([t.verdicts[k] for t in kept]) for k in (0, 1))


def calibration(trials: list[Trial]) -> list[tuple[int, float, float]]:
    """(n, mean chance stated, share true) of the first cause, in each bin of 100 or more; prints with a
    cause.
    """
    kept = [v for t in trials if KINDS[t.kind][1] for v in t.verdicts if v.stated is not None]
    stated, true = np.array([v.stated for v in kept]), np.array([v.true_cause for v in kept])
    bins = [(stated >= low) & (stated < high) for low, high in pairwise(EDGES)]
    return [(int(b.sum()), float(stated[b].mean()), float(true[b].mean())) for b in bins if b.sum() >= 100]


def crossed(trials: list[Trial], which: int) -> list[str]:
    """Lines: the unsafe ones, kind, what was said and how often."""
    counts: dict[tuple[str, str], int] = {}
    for t in trials:
        if t.verdicts[which].unsafe:
            key = (t.kind, t.verdicts[which].outcome)
            counts[key] = counts.get(key, 0) + 1
    return [f"{kind}: {outcome} {n}" for (kind, outcome), n in sorted(counts.items())]


def said(trials: list[Trial], which: int, kind: str) -> str:
    """What was said of a kind, the most frequent first."""
    words = [t.verdicts[which].outcome for t in trials if t.kind == kind]
    return ", ".join(f"{w} {words.count(w)}" for w in sorted(set(words), key=words.count, reverse=True))


def report(trials: list[Trial], named: list[Trial]) -> None:
    """The tables, to the screen."""
    print("| | n | right % | unsafe (%) | again: n | right % | unsafe (%) |")
    print(f"| all | {by(trials, lambda t: True)} |")
    for fine, name in ((False, "5 x 7"), (True, "10 x 14")):
        print(f"| {name} | {by(trials, lambda t, fine=fine: t.fine == fine)} |")
    for name, kinds in GROUPS.items():
        print(f"| {name} | {by(trials, lambda t, kinds=kinds: t.kind in kinds)} |")
    for kind in KINDS:
        words = " / ".join(said(trials, k, kind) for k in (0, 1))
        print(f"| {kind} | {by(trials, lambda t, kind=kind: t.kind == kind)} | {words} |")
    print(f"| named | {by(named, lambda t: True)} |")
    print("named, wrong:", *(f"{t.kind}: {v.outcome};" for t in named for v in t.verdicts if not v.right))
    for which in (0, 1):
        print("unsafe:", "; ".join(crossed(trials, which)))
    once = [sum(t.asked_again(k) for t in trials) for k in (0, 1)]
    right = [sum(t.verdicts[k].right or t.asked_again(k) for t in trials) / len(trials) for k in (0, 1)]
    print("good, but measured only once and asked to measure again:", *once)
    print("right %, that counted as right:", *(f"{100.0 * share:.1f}" for share in right))
    for fine, name in ((False, "5 x 7"), (True, "10 x 14")):
        own = [t for t in trials if t.fine == fine]
        print(f"  {name}: {100.0 * sum(t.verdicts[0].right or t.asked_again(0) for t in own) / len(own):.1f}")
    print("calibration:", *(f"{s:.2f}/{t:.2f} (n {n})" for n, s, t in calibration(trials)))
    verdicts = [v for t in trials for v in t.verdicts]
    print("after turning the shell unlike:", sum(not v.alike for v in verdicts), "of", len(verdicts))
    for fine in (False, True):
        ms = [1000 * v.seconds for t in trials if t.fine == fine for v in t.verdicts]
        print(f"ms a print, fine {fine}: median {np.median(ms):.1f}, 95 % {np.quantile(ms, 0.95):.1f}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=2000)
    parser.add_argument("--first", type=int, default=70211)
    parser.add_argument("--only", choices=GROUPS, default="", help="the bearings of one group alone")
    asked = parser.parse_args()
    for grid in (COARSE, FINE):
        prepare(*grid)
    report(random_trials(asked.n, asked.first, asked.only), named_trials(asked.first))
