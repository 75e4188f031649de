"""What a password may not be beside short: its person's name, a common one with a tail, a pattern over and
over, a run.
"""

import re
from collections.abc import Iterable
from typing import Any

from django.contrib.auth.password_validation import CommonPasswordValidator
from django.core.exceptions import ValidationError

RUNS = ("abcdefghijklmnopqrstuvwxyz", "01234567890123456789", "qwertyuiop", "asdfghjkl", "zxcvbnm", "qwertz")
LONGEST_RUN = 5
# What is over and over must itself be as long as a password is at least: a shorter one is a short password.
LONGEST_PATTERN = 11
LONGEST_TAIL = 4
SHORTEST_NAME = 4
# Words of this site that no password is made of; longer ones first, for they are taken out in this order.
SITE_WORDS = (
    "clearance",
    "inspection",
    "condition",
    "auditor",
    "babbitt",
    "bearing",
    "journal",
    "history",
    "ledger",
    "outage",
    "record",
    "fleet",
    "limit",
    "plant",
    "shell",
    "watch",
    "pump",
    "list",
    "site",
)


class NotObvious:
    """Refuses what somebody who knows the person, a keyboard or the lists would try first."""

    def __init__(self) -> None:
        self.common = CommonPasswordValidator().passwords

    def validate(self, password: str, user: Any = None) -> None:
        """Raise ValidationError with the reason."""
        bare = password.casefold()
        letters = re.sub(r"[\W_]+", "", bare)
        if any(name in bare or name in letters for name in _names_of(user)):
            raise ValidationError(
                "The password holds your name. Use words that have nothing to do with you.", "name"
            )
        if re.fullmatch(rf"(.{{1,{LONGEST_PATTERN}}})\1+.{{0,{LONGEST_TAIL}}}", bare, re.DOTALL):
            raise ValidationError(
                "The password is one short pattern over and over. Use several words instead.", "pattern"
            )
        if len(_without_runs(bare)) < LONGEST_RUN:
            raise ValidationError(
                "The password is a run of letters, digits or keys. Use several words instead.", "run"
            )
        letters = re.sub(r"\d+", "", letters)
        if len(_without(SITE_WORDS, letters)) < LONGEST_RUN:
            raise ValidationError(
                "The password is made of this site's own words. Use words that have nothing to do with it.",
                "site",
            )
        if letters in self.common:
            raise ValidationError(
                "Without its digits and marks the password is a common one. Use several words instead.",
                "common",
            )

    def get_help_text(self) -> str:
        """What the page says."""
        return (
            "It does not hold your name; it is no run of letters or keys, no short pattern over and over and "
            "no common password with digits behind it, and not made of this site's own words."
        )


def _names_of(user: Any) -> list[str]:
    person = getattr(user, "person", None)
    names = f"{getattr(user, 'username', '')} {getattr(person, 'name', '')}".casefold()
    return [word for word in re.split(r"[\W_]+", names) if len(word) >= SHORTEST_NAME]


def _without(words: Iterable[str], text: str) -> str:
    """What is left of a text when these words are taken out."""
    for word in words:
        text = text.replace(word, "")
    return text


def _without_runs(text: str) -> str:
    """What is left of a text when every run of keys, forwards or backwards, is taken out."""
    for row in RUNS:
        for way in (row, row[::-1]):
            for size in range(len(way), LONGEST_RUN - 1, -1):
                for start in range(len(way) - size + 1):
                    text = text.replace(way[start : start + size], "")
    return text
