"""The plant's own words for work, beside the trade's: a dated setting, each change in the record."""

import datetime as dt
import uuid

from fleet.models import Setting
from fleet.plant.acts import Refused
from fleet.plant.choices import set_setting
from inspections.importing.remarks import REMARK_WORDS, WORDS_FOR, works_named
from inspections.importing.trades_work_words import LANGUAGES
from inspections.models import EventKind

SHORTEST, LONGEST = 2, 60
# What the list of the trade knows, for people to see; a test holds each to be found.
SAMPLES: dict[str, tuple[str, ...]] = {
    str(kind): tuple(word for language in LANGUAGES for word in language.samples.get(kind, ()))
    for kind in WORDS_FOR
}


def own_words(today: dt.date) -> dict[str, list[str]]:
    """Kind of work to the plant's own words for it, as they hold today."""
    said = Setting.objects.in_force(REMARK_WORDS, None, today) or {}
    return {kind: list(words) for kind, words in said.items() if words and kind in WORDS_FOR}


def add_word(kind: str, word: str, *, today: dt.date, by: uuid.UUID) -> None:
    """Make a word of a remark known as one for a kind of work.

    Raises
    ------
    Refused
        for a word that is too short, too long, without a letter, or known already.
    """
    word = " ".join(word.casefold().split())
    if kind not in WORDS_FOR:
        raise Refused("Choose the work that the word stands for.")
    if not SHORTEST <= len(word) <= LONGEST or not any(letter.isalpha() for letter in word):
        raise Refused(
            f"Give a word or a few words of {SHORTEST} to {LONGEST} characters, such as 'blued up'."
        )
    known = own_words(today)
    if kind in works_named(word) or word in known.get(kind, ()):
        raise Refused(f"'{word}' is known as {WORDS_FOR[EventKind(kind)]} already.")
    set_setting(name=REMARK_WORDS, value=known | {kind: [*known.get(kind, ()), word]}, by=by)


def drop_word(kind: str, word: str, *, today: dt.date, by: uuid.UUID) -> None:
    """Know a word of the plant's own no longer; what was stored by it stays."""
    known = own_words(today)
    if word not in known.get(kind, ()):
        raise Refused(f"'{word}' is not among the plant's own words.")
    set_setting(name=REMARK_WORDS, value=known | {kind: [one for one in known[kind] if one != word]}, by=by)
