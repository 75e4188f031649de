"""The rounds: an act broken off at a step, then looked at, then done again; and what many do at once."""

import random
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.faults import acts, children, together
from tests.faults.acts import Act
from tests.faults.children import Steps
from tests.faults.databases import Cluster, Files

BASE, EMPTY, ROUND = "base", "empty", "round"


@dataclass
class Tally:
    """What a kind of round left, over all its rounds."""

    what: str
    n: Counter[str] = field(default_factory=Counter)
    words: list[str] = field(default_factory=list)

    def note(self, outcome: str, words: str = "") -> None:
        """One outcome of one round."""
        self.n[outcome] += 1
        if words:
            self.words.append(f"{self.what}: {outcome}: {words}")


@dataclass(frozen=True)
class Known:
    """An act done in peace: how many steps it takes, how large the log grew, what it leaves and what stood
    before.
    """

    steps: int
    size: int
    before: dict[str, int]
    after: dict[str, int]


class Rounds:
    """All rounds on one engine."""

    def __init__(self, databases: Files | Cluster, folder: Path, session: str, seed: int) -> None:
        self.databases, self.folder, self.session = databases, folder, session
        self.random = random.Random(seed)

    def all(self, n: int, only: str = "") -> Iterator[Tally]:
        """Every kind of round, `n` rounds of each act and fault."""
        for act in acts.acts(self.session, self.folder):
            if only not in act.name:
                continue
            known = self.in_peace(act)
            yield self.killed(act, known, n)
            if self.databases.is_server:
                yield self.killed(act, known, n, strike=children.kill_database, what="database killed")
            else:
                yield self.disk_full(act, known, n)
        for what, one in together.KINDS.items():
            if only not in what:
                continue
            tally = Tally(what)
            for _ in range(max(1, n // 2)):
                self.fresh(BASE)
                one(self, tally)
            yield tally

    def fresh(self, of: str) -> None:
        """A new copy of a database, for the next round."""
        self.databases.copy(of, ROUND)
        self.databases.use(ROUND)

    def asked(self, question: Callable[[], Any]) -> Any:
        """What a child answers that nobody disturbs; a cluster that recovers is waited for."""
        until = time.monotonic() + 60
        while True:
            ending = children.run(question)
            if not ending.raised and not ending.killed:
                return ending.answer
            if "OperationalError" not in ending.raised or time.monotonic() > until:
                raise AssertionError(ending.raised or "killed")
            time.sleep(0.05)

    def in_peace(self, act: Act) -> Known:
        """The act as nobody disturbs it."""
        self.fresh(EMPTY if act.on_empty else BASE)
        seen = acts.runs if act.by_worker else acts.counts
        before = self.asked(seen)
        steps = Steps()

        def counted() -> int:
            act.do()
            return steps.n

        ending = children.run(counted, steps)
        assert not ending.raised, ending.raised
        size = self.databases.size(ROUND) if isinstance(self.databases, Files) else 0
        after = self.asked(seen)
        assert after != before, f"{act.name} leaves nothing"
        return Known(ending.answer, size, before, after)

    def killed(
        self,
        act: Act,
        known: Known,
        n: int,
        *,
        strike: Callable[[], None] | None = None,
        what: str = "killed",
        at_end: bool = False,
    ) -> Tally:
        """Struck at steps spread over the whole act, the last of them after its last commit, before it
        answers.
        """
        tally = Tally(f"{act.name}, {what}")
        for k in range(n):
            at = known.steps if k == 0 or at_end else 1 + int(known.steps * (k - self.random.random()) / n)
            self.fresh(EMPTY if act.on_empty else BASE)
            ending = children.run(act.do, Steps(at, strike))
            self.looked_at(tally, act, known, ending)
        return tally

    def disk_full(self, act: Act, known: Known, n: int) -> Tally:
        """The disk is full after so many bytes."""
        tally = Tally(f"{act.name}, disk full")
        for k in range(n):
            self.fresh(EMPTY if act.on_empty else BASE)
            size = int(known.size * (k + self.random.random()) / n)
            ending = children.run(act.do, children.full_disk(size))
            self.looked_at(tally, act, known, ending)
        return tally

    def looked_at(self, tally: Tally, act: Act, known: Known, ending: children.Ending) -> None:
        """Hold what stands to before and after, verify it, do the act again and hold it to after."""
        tally.note("rounds")
        seen = acts.runs if act.by_worker else acts.counts
        there, faults = self.asked(lambda: [seen(), acts.faults()[:1]])
        answered = not ending.killed and not ending.raised
        if there == known.after:
            tally.note("stored")
        elif there == known.before:
            tally.note("not stored")
            if answered:
                tally.note("lost", "it was answered as done")
        else:
            tally.note(
                "half", str({name: there[name] for name in there if there[name] != known.before[name]})
            )
        for words in faults:
            tally.note("unsound", words)
        again = self.asked(lambda: [act.do(), seen()])[1]
        if act.by_worker and again["runs"] > known.before["runs"] and not again["half"]:
            return  # dates worked out twice are two runs, of which the latest stands
        if again != known.after:
            tally.note(
                "doubled",
                str({name: n - known.after[name] for name, n in again.items() if n != known.after[name]}),
            )

    def control(self, n: int) -> Tally:
        """An import whose statements each commit for themselves, killed before each of its last: half done it
        must be.
        """
        act = acts.Act("import", together.without_transactions(acts.bring_sheet))
        known = self.in_peace(act)
        tally = Tally("control: an import without its transaction, killed")
        for k in range(n):
            self.fresh(BASE)
            children.run(act.do, Steps(known.steps - k))
            tally.note("rounds")
            there, faults = self.asked(lambda: [acts.counts(), acts.faults()[:1]])
            if there not in (known.before, known.after):
                tally.note("half")
            if faults:
                tally.note("unsound")
        return tally

    def forgetful(self, n: int) -> Tally:
        """A cluster that answers before its log is written (synchronous_commit off), killed after: it must
        lose.
        """
        assert isinstance(self.databases, Cluster)
        act = acts.Act("recording", lambda: acts.record(self.session))
        known = self.in_peace(act)
        self.databases.remembers(False)
        tally = self.killed(act, known, n, strike=children.kill_database, what="log not awaited", at_end=True)
        self.databases.remembers(True)
        tally.what = f"control: {tally.what}, database killed"
        return tally
