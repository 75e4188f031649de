"""What one remark tells of, clause by clause: which work, at which bearing, and what was denied, planned or
ordered.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from inspections.importing.trades_work_words import LANGUAGES
from inspections.models import EventKind

Words = tuple[str, re.Pattern[str]]
MASK = "\ue000"  # stands for each letter of a position's name: no word and no mark of the remark's own


def either(words: Iterable[str]) -> str:
    return "|".join(word for word in words if word)


def whole(words: str) -> re.Pattern[str]:
    return re.compile(rf"\b(?:{words})\b", re.IGNORECASE)


WORKS: tuple[Words, ...] = tuple(
    (str(kind), whole(words)) for one in LANGUAGES for kind, words in one.works.items()
)
THINGS: tuple[Words, ...] = tuple(
    (str(kind), whole(words)) for one in LANGUAGES for kind, words in one.things.items()
)
DOUBTFUL = whole(either(one.doubtful for one in LANGUAGES))
_ANY = re.compile(
    either([words.pattern for _, words in (*WORKS, *THINGS)] + [DOUBTFUL.pattern]), re.IGNORECASE
)
_BEFORE = re.compile(
    rf"\b(?:(?:{either(one.denies for one in LANGUAGES)})[\s:]+(?:[\w.]+\s+){{0,2}}"
    rf"|(?:{either(one.denies_at for one in LANGUAGES)})\s+)$",
    re.IGNORECASE,
)
_AFTER = re.compile(
    rf"^\W*(?:[\w.]+\W+){{0,2}}?(?:{either(one.denies_after for one in LANGUAGES)})\b", re.IGNORECASE
)
_DONE = re.compile(
    rf"(?P<no>\b(?:{either(one.negates for one in LANGUAGES)})\s+(?:\w+\s+)?)?"
    rf"\b(?:{either(one.done for one in LANGUAGES)})\b",
    re.IGNORECASE,
)
EVERYWHERE = whole(either(one.everywhere for one in LANGUAGES))
_JOINS = re.compile(rf"(?:(?<=\s)|^)(?:{either(one.joins for one in LANGUAGES)})(?=\s)", re.IGNORECASE)
_ENDS = re.compile(
    rf"(?P<hard>[;\n]|(?<!\bbrg)(?<!\bbrgs)(?<!\bno)(?<!\bnr)(?<!\bca)"
    r"(?<!\bapprox)(?<!\bmax)(?<!\bmin)(?<!\bzul)(?<!\bgem)(?<!\bu)\.(?=\s|$))"
    rf"|(?P<soft>,(?![0-9])|\b(?:{either(one.parts for one in LANGUAGES)})\b)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Telling:
    """One work that a remark tells of. `positions`: those that its own clause names; none: the clause names
    none.

    `is_doubtful`: the word may be a slip for this work, or say that something was thrown away.
    """

    kind: str
    positions: tuple[str, ...] = ()
    is_doubtful: bool = False


@dataclass
class Clause:
    """A stretch of the masked remark; `hard`: a new sentence begins with it."""

    start: int
    end: int
    hard: bool


def tellings(
    note: str, names: Mapping[str, re.Pattern[str]] | None = None, own: Sequence[Words] = ()
) -> list[Telling]:
    """The works a remark says were done, each with the positions of its clause, in the order of the remark.

    Parameters
    ----------
    names : mapping
        a position's name to the pattern of all its spellings.
    own : sequence
        the plant's own words for work.

    Examples
    --------
    >>> names = {"DE": re.compile(r"\\bDE\\b"), "NDE": re.compile(r"\\bNDE\\b")}
    >>> [(one.kind, one.positions) for one in tellings("DE scraped, ok; NDE new brgs", names)]
    [('scrape', ('DE',)), ('shell_change', ('NDE',))]
    """
    if not _ANY.search(note) and not any(words.search(note) for _, words in own):
        return []
    return list(dict.fromkeys(Remark(note, names or {}, own).run()))


class Remark:
    """A remark taken apart."""

    def __init__(self, note: str, names: Mapping[str, re.Pattern[str]], own: Sequence[Words]) -> None:
        self.named, self.text = _masked(note, names)
        self.all = tuple(names)
        self.works = self._works(own)

    def _works(self, own: Sequence[Words]) -> list[tuple[int, int, str, str]]:
        """Start, end, kind and sort (`work`, `thing`, `doubtful`) of every word for work, none inside
        another.
        """
        found = [
            (m.start(), m.end(), kind, sort)
            for sort, table in (("work", (*WORKS, *own)), ("thing", THINGS))
            for kind, words in table
            for m in words.finditer(self.text)
        ]
        found += [
            (m.start(), m.end(), str(EventKind.SCRAPE), "doubtful") for m in DOUBTFUL.finditer(self.text)
        ]
        found.sort(key=lambda one: (one[0] - one[1], one[0]))
        kept: list[tuple[int, int, str, str]] = []
        for one in found:
            inside = any(a <= one[0] and one[1] <= b and kind == one[2] for a, b, kind, _ in kept)
            if not inside:
                kept.append(one)
        return sorted(kept)

    def run(self) -> Iterator[Telling]:
        clauses = list(self.clauses())
        heading: tuple[str, ...] = ()
        for i, clause in enumerate(clauses):
            if clause.hard:
                heading = ()
            positions = self.positions(clause)
            if positions and re.match(rf"\W*{MASK}[{MASK}\s&+/]*:", self.text[clause.start : clause.end]):
                heading = tuple(name for _, name in positions)
            following = clauses[i + 1] if i + 1 < len(clauses) and not clauses[i + 1].hard else None
            yield from self._told(clause, positions, heading, following)

    def _told(
        self,
        clause: Clause,
        positions: list[tuple[int, str]],
        heading: tuple[str, ...],
        following: Clause | None,
    ) -> Iterator[Telling]:
        inside = [one for one in self.works if clause.start <= one[0] < clause.end]
        everywhere = bool(EVERYWHERE.search(self.text[clause.start : clause.end]))
        for one in inside:
            if self._denied(one, clause, following):
                continue
            bound = _bound(one[0], [start for start, *_ in inside], positions)
            if not bound and not positions:
                bound = self.all if everywhere else heading
            yield Telling(one[2], bound, one[3] == "doubtful")

    def _denied(self, work: tuple[int, int, str, str], clause: Clause, following: Clause | None) -> bool:
        start, end, _, sort = work
        if _BEFORE.search(self.text[clause.start : start]) and not self._was_done(end, clause):
            return True
        after = self.text[end : clause.end]
        if re.match(r"\s*\(?\?", after):
            return True
        if sort != "thing":
            return False
        if following and not after.strip() and not self._says_more(following):
            after = self.text[end : following.end]
            alone = re.match(r"[\s,]*(?:not|never|nicht|nie)\b", after, re.IGNORECASE)
            if alone and not _DONE.search(after):
                return False  # "new shells, not blued" denies something else
        if any(not done["no"] for done in _DONE.finditer(after)):
            return False
        return bool(_AFTER.search(after))

    def _was_done(self, end: int, clause: Clause) -> bool:
        done = _DONE.search(self.text[end : clause.end])
        before = self.text[clause.start : end]
        return bool(done and not done["no"] and re.search(r"\border", before, re.IGNORECASE))

    def _says_more(self, clause: Clause) -> bool:
        """Whether a clause has a work or a position of its own."""
        return any(clause.start <= start < clause.end for start, *_ in self.works) or bool(
            self.positions(clause)
        )

    def positions(self, clause: Clause) -> list[tuple[int, str]]:
        return [(start, name) for start, _, name in self.named if clause.start <= start < clause.end]

    def clauses(self) -> Iterator[Clause]:
        """Parted at marks and at words such as `but`; at `and` where each side tells of work."""
        cuts = [(m.start(), m.end(), m["hard"] is not None) for m in _ENDS.finditer(self.text)]
        joins = [(m.start(), m.end(), False) for m in _JOINS.finditer(self.text)]
        edges = sorted([*cuts, *(one for one in joins if self._parts_works(one, cuts))])
        start, hard = 0, True
        for a, b, is_hard in [*edges, (len(self.text), len(self.text), True)]:
            piece = self.text[start:a]
            # Names alone belong to what follows them: "DE, NDE scraped".
            if piece.strip() and (is_hard or piece.replace(MASK, "").strip(" &+/")):
                yield Clause(start, a, hard)
                start, hard = b, is_hard
            elif not piece.strip():
                start, hard = b, hard or is_hard

    def _parts_works(self, join: tuple[int, int, bool], cuts: list[tuple[int, int, bool]]) -> bool:
        left = max((b for _, b, _ in cuts if b <= join[0]), default=0)
        right = min((a for a, _, _ in cuts if a >= join[1]), default=len(self.text))
        if any(a < join[1] and join[0] < b for a, b, *_ in self.works):
            return False
        return any(left <= a < join[0] for a, *_ in self.works) and any(
            join[1] <= a < right for a, *_ in self.works
        )


def _bound(work: int, works: Sequence[int], positions: Sequence[tuple[int, str]]) -> tuple[str, ...]:
    """The positions a work belongs to among all of its clause; none where it could be either's."""
    if not positions:
        return ()
    at = [start for start, _ in positions]
    if max(at) < min(works) or min(at) > max(works):
        return tuple(dict.fromkeys(name for _, name in positions))
    runs: list[tuple[str, list]] = []
    for _, sort, what in sorted(
        [(a, "work", a) for a in works] + [(a, "name", name) for a, name in positions], key=lambda one: one[0]
    ):
        if not runs or runs[-1][0] != sort:
            runs.append((sort, []))
        runs[-1][1].append(what)
    if len(runs) % 2:
        return ()
    i = next(i for i, (sort, some) in enumerate(runs) if sort == "work" and work in some)
    return tuple(dict.fromkeys(runs[i - 1 if runs[0][0] == "name" else i + 1][1]))


def _masked(note: str, names: Mapping[str, re.Pattern[str]]) -> tuple[list[tuple[int, int, str]], str]:
    """Where positions are named, the longest name first, and the remark with their letters masked."""
    found = [(m.start(), m.end(), name) for name, pattern in names.items() for m in pattern.finditer(note)]
    named: list[tuple[int, int, str]] = []
    for one in sorted(found, key=lambda one: (one[0] - one[1], one[0])):
        if one[1] > one[0] and all(one[1] <= a or b <= one[0] for a, b, _ in named):
            named.append(one)
    text = list(note)
    for a, b, _ in named:
        text[a:b] = MASK * (b - a)
    return sorted(named), "".join(text)
