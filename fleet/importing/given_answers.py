"""The answers that a file's questions have, told so that each can be seen and taken back before anything is
stored.
"""

import hashlib
import json
from dataclasses import dataclass
from typing import Any

from fleet.importing.answers import AGAIN, Answers, ChosenAnswer
from fleet.importing.questions import QuestionGroup, Settling, row_words

MOST_SHOWN = 5


@dataclass(frozen=True)
class GivenAnswer:
    """One answer as it is told: what was asked, what was answered, and the rows it settles."""

    key: str
    words: str
    label: str
    value: str
    rows: tuple[str, ...]

    @property
    def shown(self) -> tuple[str, ...]:
        return self.rows[:MOST_SHOWN]

    @property
    def n_more(self) -> int:
        return len(self.rows) - len(self.shown)


def key_of(question: str, answer: dict[str, Any]) -> str:
    """By what an answer is named on the page."""
    return hashlib.sha256(json.dumps([question, answer], sort_keys=True).encode()).hexdigest()[:16]


def given_answers(settling: Settling) -> list[GivenAnswer]:
    """Every answer that holds, in the order in which they were given."""
    told = []
    for question, answers in settling.answers:
        code, _, about = question.partition("|")
        for answer in answers:
            if answer["choice"] == AGAIN or _taken_back(answers, answer):
                continue
            choice, value = answer["choice"], answer.get("value", "")
            choices = settling.loader.choices(code, about, [], settling.context)
            label = next((one.label for one in choices if one.word == choice), choice.replace("_", " "))
            rows = settling.closed.get(ChosenAnswer(code, about, choice, value), [])
            words = QuestionGroup(code, about, [], choices).words
            told.append(
                GivenAnswer(
                    key_of(question, answer), words, label, value, tuple(row_words(row) for row in rows)
                )
            )
    return told


def _taken_back(answers: list[dict[str, Any]], answer: dict[str, Any]) -> bool:
    """Whether a later answer of the same rows stands in its place."""
    later = answers[answers.index(answer) + 1 :]
    return any("rows" not in one or one.get("rows") == answer.get("rows") for one in later)


def asked_again(
    given: Answers, draft: dict[str, list[dict[str, Any]]], key: str
) -> dict[str, list[dict[str, Any]]]:
    """The draft's own answers without the one of that key; one kept from before is taken back by a later
    word.
    """
    left: dict[str, list[dict[str, Any]]] = {question: list(said) for question, said in draft.items()}
    for question, said in given:
        for answer in said:
            if key_of(question, answer) != key:
                continue
            again = {"choice": AGAIN, "value": ""}
            if "rows" in answer:
                own = [one for one in left.get(question, []) if one != answer]
                left[question] = [*own, again | {"rows": answer["rows"]}]
            else:  # what was said of named rows holds beside it
                left[question] = [again, *(one for one in left.get(question, []) if "rows" in one)]
    return {question: said for question, said in left.items() if said}
