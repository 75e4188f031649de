"""The plant's own words for work, beside the trade's: a dated setting, each change in the record."""

import datetime as dt
import uuid

from fleet.models import Setting
from fleet.registering import Refused, set_setting
from inspections.importing.remarks import REMARK_WORDS, WORDS_FOR, works_named
from inspections.models import EventKind

SHORTEST, LONGEST = 2, 60
# What the list of the trade knows, for people to see; a test holds each to be found.
SAMPLES: dict[str, tuple[str, ...]] = {
    EventKind.SCRAPE: ("scraped", "re-scrapped", "scrpd", "hand fitted", "high spots removed", "bedded in", "touched up"),
    EventKind.SHELL_CHANGE: ("new brgs", "nu brgs", "new shells fitted", "brgs repl'd", "renewed both bearings", "shells chgd"),
    EventKind.REBABBITT: ("rebabbitted", "remetalled", "re-metled", "relined", "new white metal", "repoured"),
    EventKind.SHIM_CHANGE: ("shimmed", "shims removed", "took out 0.05 shim", "reshimmed"),
    EventKind.JOURNAL_REGRIND: ("journal ground", "shaft turned", "jrnls chromed", "metal sprayed shaft ground"),
    EventKind.ROTOR_CHANGE: ("rotor changed", "spare rotor fitted", "new shaft"),
    EventKind.PUMP_CHANGE: ("pump swapped", "spare pump installed", "pump came from"),
}  # fmt: skip


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
