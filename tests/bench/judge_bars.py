"""Why the judge's share of right prints is not higher: the same prints decided under other bars.

    python -m tests.bench.judge_bars --n 2000 --first 31207

Each print is pressed, tapped and weighed once; only the rules are gone through again. Right and unsafe as
`judge_contact` counts them, first print; laid in again.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from unittest import mock

import numpy as np

from inspections.contact import outcome, reader
from inspections.contact.outcome import BARS, Decision, Earlier, Print
from inspections.contact.places import places

from .judge_contact import COARSE, FINE, PERMISSIVE, Trial, random_trials
from .judge_kinds import GROUPS, KINDS

OUTCOMES = ("acceptable", "scrape", "engineer", "alignment", "seat", "measure", "repeat")
Rules = Callable[[Print], Decision]


@dataclass(frozen=True)
class Weighed:
    """A trial with both of its prints as the rules were given them."""

    trial: Trial
    prints: tuple[Print, Print]

    def decided(self) -> list[str]:
        """The outcomes of both prints by the rules as they are now; the second knows the first."""
        said, earlier = [], ()
        for given, verdict in zip(self.prints, self.trial.verdicts, strict=True):
            p = replace(given, earlier=earlier)
            decision = outcome.decide(p)
            word = decision.outcome
            if decision.engineer and (
                word == "scrape" or (word == "measure" and "engineer" in verdict.allowed)
            ):
                word = "engineer"
            said.append(word)
            earlier = (Earlier(decision.code, places(np.where(p.live, p.pattern, 0))),)
        return said


def weighed(n: int, seed: int) -> list[Weighed]:
    """n trials; of each print what the rules saw, not that of the shell turned round."""
    seen: list[Print] = []

    def decide(p: Print) -> Decision:
        seen.append(p)
        return outcome.decide(p)

    with mock.patch.object(reader, "decide", decide):
        trials = random_trials(n, seed)
    return [Weighed(one, (seen[4 * k], seen[4 * k + 2])) for k, one in enumerate(trials)]


@contextmanager
def other_bars(**bars: int) -> Iterator[None]:
    """The rules with some of their bars set otherwise."""
    with mock.patch.dict(BARS, bars):
        yield


@contextmanager
def without(name: str, instead: object) -> Iterator[None]:
    """The rules with one of them always answering the same."""
    with mock.patch.object(outcome, name, lambda p: instead):
        yield


def row(name: str, prints: list[Weighed]) -> str:
    """Right and unsafe of all, and unsafe of each group that must not pass, in per cent."""
    said = [one.decided() for one in prints]
    columns = []
    for which in (0, 1):
        kept = [
            (one.trial, words[which], words[which] in one.trial.verdicts[which].allowed)
            for one, words in zip(prints, said, strict=True)
        ]
        unsafe = [(trial.kind, word in PERMISSIVE and not right) for trial, word, right in kept]
        shares = [
            100.0 * np.mean([right for _, _, right in kept]),
            100.0 * np.mean([bad for _, bad in unsafe]),
        ]
        for kinds in GROUPS.values():
            group = [bad for kind, bad in unsafe if kind in kinds]
            shares.append(100.0 * float(np.mean(group)) if group else 0.0)
        columns.append(" / ".join(f"{share:.1f}" for share in shares))
    return f"| {name} | {' | '.join(columns)} |"


def confused(prints: list[Weighed], which: int) -> list[str]:
    """By true cause: how many, right %, and how often each outcome was said."""
    by_cause: dict[str, list[tuple[str, bool]]] = {}
    for one in prints:
        verdict = one.trial.verdicts[which]
        by_cause.setdefault(KINDS[one.trial.kind][1] or "none", []).append((verdict.outcome, verdict.right))
    lines = []
    for cause, said in sorted(by_cause.items(), key=lambda item: -len(item[1])):
        words = Counter(word for word, _ in said)
        counts = " | ".join(str(words[name]) for name in OUTCOMES)
        lines.append(
            f"| {cause} | {len(said)} | {100.0 * np.mean([right for _, right in said]):.0f} | {counts} |"
        )
    return lines


def report(prints: list[Weighed]) -> None:
    """The tables, to the screen."""
    print(f"| truth | n | right % | {' | '.join(OUTCOMES)} |")
    print("\n".join(confused(prints, 0)))
    print(f"| rules | right, unsafe, {', '.join(GROUPS)}, first print | laid in again |")
    print(row("as they are", prints))
    for good in (450, 400):
        with other_bars(good=good):
            print(row(f"good from 0.{good // 10}", prints))
    with without("_measured_once", False):
        print(row("one measurement of the clearance is enough", prints))
        with without("_open", None):
            print(row("a print that fits is accepted, whatever it leaves open", prints))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=2000)
    parser.add_argument("--first", type=int, default=70211)
    asked = parser.parse_args()
    for grid in (COARSE, FINE):
        reader.prepare(*grid)
    report(weighed(asked.n, asked.first))
