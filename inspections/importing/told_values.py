"""The clearances and contact shares that one remark tells of: number, unit, stage and the position of its
clause.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from fleet.importing.reading_plans.value_notation import in_hundredths, read_value_cell, unit_in
from inspections.importing.clauses import EVERYWHERE, MASK, Clause, Remark, either, whole
from inspections.importing.trades_work_words import LANGUAGES

CLEARANCE, CONTACT = "clearance", "contact"

_NUMBER = r"[<>]?(?:[0-9]{1,3} [0-9]{1,3}/(?:2|4|8|16|32|64|128|256)|[0-9]{0,6}[.,]?[0-9]{1,9})"
_UNIT = r"mm|[uµμ]m|microns?|mils?|thous?|inch(?:es)?|in(?![ ]?(?:the|to|by|with)\b)|\"|''|zoll|hundertstel"
_TOKEN = re.compile(
    rf"(?<![\w.,/#:+-])(?P<a>{_NUMBER})\s*(?P<ua>{_UNIT})?(?:\s*(?P<mark>/|-|\u2013|&|\bto\b|\bbis\b)\s*(?P<b>{_NUMBER})\s*(?P<ub>{_UNIT})?)?"
    r"(?P<share>\s*(?:%|per ?cent\b|prozent\b))?(?![\w/:]|[.,][0-9])",
    re.IGNORECASE,
)
_CLEARANCES = whole(either(one.clearances for one in LANGUAGES))
_OTHER_GAPS = whole(either(one.other_gaps for one in LANGUAGES))
_CONTACTS = whole(either(one.contacts for one in LANGUAGES))
_STAGES = re.compile(
    rf"\b(?:(?P<as_found>{either(one.found for one in LANGUAGES)})"
    rf"|(?P<as_left>{either(one.left for one in LANGUAGES)}))\b",
    re.IGNORECASE,
)
_BOUNDS = whole(either(one.bounds for one in LANGUAGES))
_DENIED = re.compile(
    rf"\b(?:{either(one.denies for one in LANGUAGES)})[\s:]+(?:[\w.]+\s+){{0,2}}$", re.IGNORECASE
)
_TAKEN_OFF = re.compile(rf"\s*(?:{either(one.taken_off for one in LANGUAGES)})\b", re.IGNORECASE)
_TO = re.compile(r"\s*(?:in |ein )?(?:to|auf)\s*", re.IGNORECASE)
_FILLING = re.compile(
    rf"[{MASK}\s=:,;&+.()/-]|\b(?:is|was|at|of|on|and|und|bei|ist|an|end|brgs?|bearings?|lager|both|beide)\b",
    re.IGNORECASE,
)
_HUNDREDTHS_TOP = re.compile(r"[0-9]{1,3}")


@dataclass(frozen=True)
class ToldValue:
    """One measurement that a remark tells of.

    Parameters
    ----------
    what : str
        `clearance`, or `contact` (a per cent of the length).
    text : str
        the number with a decimal point, or two parted by `/`.
    unit : str
        as the house writes it; blank where the remark names none.
    stage : str
        `as_found`, `as_left`, or blank.
    positions : tuple of str
        those of its clause, else the one that its sentence named before; none where it could be any.
    """

    what: str
    text: str
    unit: str = ""
    stage: str = ""
    positions: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The measurement as it is said."""
        what = "clearance" if self.what == CLEARANCE else "contact"
        where = f"at {' and '.join(self.positions)}" if self.positions else ""
        stage = self.stage.replace("_", " ")
        return " ".join(part for part in (what, self.text, self.unit, stage, where) if part)

    @property
    def is_pair(self) -> bool:
        """Whether it is two numbers: the two ends, or a range."""
        return "/" in self.text and " " not in self.text


def told_values(note: str, names: Mapping[str, re.Pattern[str]] | None = None) -> list[ToldValue]:
    """What a remark says was measured, in its order; limits, targets, steps and other gaps are none of it.

    Parameters
    ----------
    names : mapping
        a position's name to the pattern of all its spellings.

    Examples
    --------
    >>> names = {"DE": re.compile(r"\\bDE\\b"), "NDE": re.compile(r"\\bNDE\\b")}
    >>> [
    ...     (v.what, v.text, v.unit, v.positions)
    ...     for v in told_values("clr DE .0065/.007 NDE .0095, scraped 2 thou, blue 80 %", names)
    ... ]
    [('clearance', '.0065/.007', '', ('DE',)), ('clearance', '.0095', '', ('NDE',)), ('contact', '80', '%',
    ())]
    """
    if not re.search(r"[0-9]", note):
        return []
    return list(dict.fromkeys(_Values(note, names or {}).run()))


@dataclass
class _Carried:
    """What a sentence has said so far: holds for the clauses that follow."""

    positions: tuple[str, ...] = ()
    stage: str = ""
    is_clearance: bool = False


class _Values:
    """Clause by clause through a remark."""

    def __init__(self, note: str, names: Mapping[str, re.Pattern[str]]) -> None:
        self.remark = Remark(note, names, ())
        self.text, self.names = self.remark.text, tuple(names)

    def run(self) -> Iterator[ToldValue]:
        carried = _Carried()
        for clause in self.remark.clauses():
            if clause.hard:
                carried = _Carried()
            yield from self._of_clause(clause, carried)

    def _of_clause(self, clause: Clause, carried: _Carried) -> Iterator[ToldValue]:
        said = self.text[clause.start : clause.end]
        tokens = list(_TOKEN.finditer(said))
        at = [(start - clause.start, name) for start, name in self.remark.positions(clause)]
        stages = [(m.start(), m.end(), str(m.lastgroup)) for m in _STAGES.finditer(said)]
        is_clearance = self._is_clearance(said, tokens, carried, named=bool(at or stages))
        unit = next((u for m in reversed(tokens) if (u := unit_in(m["ub"] or m["ua"] or ""))), "")
        for i, token in enumerate(tokens):
            positions = self._positions(i, tokens, at, said) or carried.positions
            is_share = bool(token["share"])
            if is_share and not token["mark"] and _CONTACTS.search(said):
                yield ToldValue(CONTACT, _pointed(token["a"]), "%", "", positions)
            if is_share or self._is_no_value(token, said, clause):
                continue
            told = self._scraped_to(token, said, clause)
            if not (told or is_clearance) or not (told or self._counts(token, said, at, stages)):
                continue
            stage = "as_left" if told else self._stage(token, tokens, stages) or carried.stage
            value = _with_unit(_value(token, stage, positions), unit)
            if isinstance(read_value_cell(value.text, 0, two="range", words={}), list):
                yield value
        if at:  # of several named none holds for what follows
            named = tuple(dict.fromkeys(name for _, name in at))
            carried.positions = named if len(named) == 1 else ()
        carried.is_clearance = is_clearance
        carried.stage = (stages[-1][2] if stages else carried.stage) if is_clearance else ""

    def _is_clearance(
        self, said: str, tokens: list[re.Match[str]], carried: _Carried, *, named: bool
    ) -> bool:
        """Whether the numbers of a clause are clearances: it says so, or holds nothing but them and names."""
        if _OTHER_GAPS.search(said):
            return False
        if _CLEARANCES.search(said):
            return True
        bare = _FILLING.sub("", _STAGES.sub("", _TOKEN.sub("", said)))
        measures = any(token["ua"] or token["ub"] or re.search("[.,]", token["a"]) for token in tokens)
        return not bare and (carried.is_clearance or (named and measures))

    def _is_no_value(self, token: re.Match[str], said: str, clause: Clause) -> bool:
        """Limits and targets, denials and plans, what was taken off, and a work's own measure."""
        before, after = said[: token.start()], said[token.end() :]
        since = max((m.end() for m in _TOKEN.finditer(before)), default=0)
        if _BOUNDS.search(before, since) or re.match(rf"\s*{_BOUNDS.pattern}", after, re.IGNORECASE):
            return True
        if _DENIED.search(before) or _TAKEN_OFF.match(after):
            return True
        works = [b - clause.start for a, b, *_ in self.remark.works if clause.start <= a < clause.end]
        behind = [end for end in works if end <= token.start()]
        if not behind:
            return False
        between = said[max(behind) : token.start()]
        return not (_CLEARANCES.search(between) or _STAGES.search(between) or _TO.fullmatch(between))

    def _scraped_to(self, token: re.Match[str], said: str, clause: Clause) -> bool:
        ends = [b - clause.start for a, b, *_ in self.remark.works if clause.start <= a < clause.end]
        return any(end <= token.start() and _TO.fullmatch(said[end : token.start()]) for end in ends)

    def _counts(
        self,
        token: re.Match[str],
        said: str,
        at: list[tuple[int, str]],
        stages: list[tuple[int, int, str]],
    ) -> bool:
        """A number with a unit or a decimal mark; a bare count only right behind a word that calls for it."""
        if token["ua"] or token["ub"] or re.search("[.,]", token["a"]):
            return True
        before = said[: token.start()].rstrip(" =:(")
        ends = [m.end() for m in _CLEARANCES.finditer(said)] + [end for _, end, _ in stages]
        return len(before) in ends or before.endswith(MASK)

    def _positions(
        self, i: int, tokens: list[re.Match[str]], at: list[tuple[int, str]], said: str
    ) -> tuple[str, ...]:
        """The names right before a number, or right behind it where the clause begins with a number."""
        if not at:
            return self.names if EVERYWHERE.search(said) else ()
        behind = at[0][0] > tokens[0].start()
        if behind:
            end = tokens[i + 1].start() if i + 1 < len(tokens) else len(said)
            run = [name for start, name in at if tokens[i].end() <= start < end]
        else:
            begin = tokens[i - 1].end() if i else 0
            run = [name for start, name in at if begin <= start < tokens[i].start()]
            if not run:
                run = [name for start, name in at if start < tokens[i].start()][-1:]
        return tuple(dict.fromkeys(run))

    def _stage(
        self, token: re.Match[str], tokens: list[re.Match[str]], stages: list[tuple[int, int, str]]
    ) -> str:
        if not stages:
            return ""
        if stages[0][0] < tokens[0].start():
            return next((stage for start, _, stage in reversed(stages) if start < token.start()), "")
        return next((stage for start, _, stage in stages if start >= token.end()), "")


def _value(token: re.Match[str], stage: str, positions: tuple[str, ...]) -> ToldValue:
    unit = unit_in(token["ub"] or token["ua"] or "")
    if token["b"] in ("100",) and token["mark"] == "/" and _HUNDREDTHS_TOP.fullmatch(token["a"]):
        return ToldValue(CLEARANCE, in_hundredths(token["a"]), "mm", stage, positions)
    text = _pointed(token["a"])
    if token["b"]:
        text = f"{text}/{_pointed(token['b'])}"
    if unit == "1/100 mm":
        return ToldValue(CLEARANCE, "/".join(map(in_hundredths, text.split("/"))), "mm", stage, positions)
    return ToldValue(CLEARANCE, text, unit, stage, positions)


def _with_unit(value: ToldValue, unit: str) -> ToldValue:
    """A number without a unit has the one that its clause names last."""
    return value if value.unit or unit in ("", "1/100 mm") else replace(value, unit=unit)


def _pointed(text: str) -> str:
    """A number's text with a decimal point."""
    return text.replace(",", ".")
