"""Answers to a file's questions: by the kind of question and what it is about, for all rows alike or for
named ones.
"""

import hashlib
from collections.abc import Iterable, Iterator, Set
from dataclasses import dataclass, field
from typing import Any, NamedTuple

ASIDE = "aside"
AGAIN = "again"  # an answer taken back: the question stands open once more


class ChosenAnswer(NamedTuple):
    """What one question is answered with: its kind, what it is about, the choice, and what was typed."""

    code: str
    about: str
    choice: str
    value: str


@dataclass(frozen=True)
class Choice:
    """One possible answer.

    Parameters
    ----------
    word : str
        by which it is kept.
    label : str
        how it is said on the page.
    needs : str
        what else must be given with it, in words (`the pump's tag`, `the reason`); blank: nothing.
    offered : tuple of str
        what may be given, nearest first; with `only` nothing else.
    example : str
        what it would make of the first row asked about.
    """

    word: str
    label: str
    needs: str = ""
    offered: tuple[str, ...] = ()
    only: bool = False
    example: str = ""


TYPED = Choice("typed", "the cell should say", "what it should say")
SET_ASIDE = Choice(ASIDE, "set these rows aside: kept word for word, used for nothing", "the reason")


def kept_words(said: str, note: str = "", column: str = "") -> str:
    """The remark that keeps what a cell said beside what it should say.

    >>> kept_words("l50", "hot"), kept_words("31/02/2014", column="date")
    ("hot; the sheet says 'l50'", "the sheet says 'date 31/02/2014'")
    """
    told = f"the sheet says '{f'{column} {said}'.strip()}'"
    return f"{note}; {told}" if note else told


def question_key(code: str, about: str) -> str:
    """The name under which an answer is kept; long subjects by their digest."""
    key = f"{code}|{about}"
    return key if len(key) <= 200 else f"{code}|{hashlib.sha256(about.encode()).hexdigest()}"


@dataclass
class Answers:
    """What was answered: key to a list of `{"choice", "value", "rows"}`; an answer without `rows` holds for
    all alike.
    """

    given: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def of(self, code: str, about: str, row: str = "") -> tuple[str, str] | None:
        """Choice and value for a question about a row; None: not answered.

        Of two answers the later holds; what a cell should say holds beside an answer for all alike.
        """
        own = [one for one in self.given.get(question_key(code, about), []) if row in one.get("rows", [row])]
        typed = [one for one in own if one["choice"] == TYPED.word and "rows" in one]
        if not own:
            return None
        said = typed[-1] if typed and "rows" not in own[-1] else own[-1]
        return None if said["choice"] == AGAIN else (said["choice"], said.get("value", ""))

    def knows_row(self, code: str, kind: str, idents: Set[str]) -> bool:
        """Whether any answer of a kind of question, about `kind` wherever, was given for a row of these
        names.
        """
        start = f"{code}|{kind}"
        return any(
            not idents.isdisjoint(one.get("rows", ()))
            for key, said in self.given.items()
            if key == start or key.startswith(f"{start}|")
            for one in said
        )

    def add(
        self, code: str, about: str, choice: str, value: str = "", rows: Iterable[str] | None = None
    ) -> None:
        """Keep an answer; for the named rows alone, or (None) for all alike."""
        said: dict[str, Any] = {"choice": choice, "value": value}
        if rows is not None:
            said["rows"] = sorted(set(rows))
        self.add_said(question_key(code, about), [said])

    def add_said(self, key: str, said: Iterable[dict[str, Any]]) -> None:
        """Add answers as they are kept; one that is there already is not kept twice."""
        known = self.given.setdefault(key, [])
        for one in said:
            if one in known:
                known.remove(one)
            known.append(one)

    def without(self, choice: str) -> "Answers":
        """The answers of every other choice."""
        left = {key: [one for one in said if one["choice"] != choice] for key, said in self.given.items()}
        return Answers({key: said for key, said in left.items() if said})

    def __iter__(self) -> Iterator[tuple[str, list[dict[str, Any]]]]:
        return iter(self.given.items())

    def __bool__(self) -> bool:
        return bool(self.given)
