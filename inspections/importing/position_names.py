"""The positions of a pump as a remark may spell them: the register's names, learnt spellings, and the trade's
usual ones.
"""

import re
from collections import defaultdict
from collections.abc import Mapping
from functools import lru_cache
from uuid import UUID

from fleet.importing.directory import Directory
from fleet.importing.reading_plans.heading_words import position_in

# Common practice, no published source.
_USUAL = {
    "DE": r"D\.?E\b\.?|drive[- ]?(?:end|side)|coupling[- ]?(?:end|side)",
    "NDE": r"N[.-]?D[.-]?E\b\.?|non[- ]?drive(?:[- ]?(?:end|side))?|free end",
}
# Names that are also words of a remark count only in capitals.
_ALSO_WORDS = frozenset({"in", "out", "on", "a", "i", "o", "as", "la", "ca", "am", "an", "im", "top", "up"})
_BEFORE_A_NUMBER = (
    r"(?:(?:br?gs?|bearings?|pos(?:ition)?|no|nr|lager|end)\.? *(?:no\.? *|nr\.? *)?|# *|(?:and|und|&|\+) +)"
)


def names_by_place(directory: Directory) -> dict[UUID, dict[str, re.Pattern[str]]]:
    """Place to the names of its positions, each with the pattern of all its spellings."""
    spelt: dict[UUID, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for (place, text), bearing in directory.bearings.items():
        spelt[place][bearing.name] |= {text, bearing.name}
    return {
        place: {name: _pattern(name, frozenset(texts)) for name, texts in some.items()}
        for place, some in spelt.items()
    }


@lru_cache(maxsize=5_000)
def _pattern(name: str, texts: frozenset[str]) -> re.Pattern[str]:
    spellings = [_spelling(text, name) for text in sorted(texts)]
    usual = _USUAL.get(position_in(name), "") if len(name) <= 5 or " " in name else ""
    words = "|".join([*(one for one in spellings if one), *([rf"(?i:{usual})"] if usual else [])])
    return re.compile(rf"(?<!\w)(?<!\b[A-Za-z][.-])(?:{words})(?!\w)")


def usual_names() -> dict[str, re.Pattern[str]]:
    """The trade's own names of a pump's two bearings, for a remark of no known pump."""
    return {name: _pattern(name, frozenset({name})) for name in _USUAL}


def _spelling(text: str, name: str) -> str:
    """One spelling: points and hyphens between its letters count for nothing, nor do capitals where no word
    is meant.
    """
    tokens = re.findall(r"[^\W_]+", text)
    if not tokens:
        return re.escape(text)
    bare = "".join(tokens)
    spread = r"[\s._/-]*".join(
        r"[.-]?".join(token) if len(token) <= 4 and token.isalpha() else re.escape(token) for token in tokens
    )
    if bare.isdigit():
        return rf"(?i:{_BEFORE_A_NUMBER}){spread}(?!\s*(?:[.,/][0-9]|thou|mil|mm|um|%|[0-9]))"
    if bare.casefold() in _ALSO_WORDS or len(bare) == 1:
        return rf"{spread.upper()}(?!(?i:\s+(?:found|left)))"
    return rf"(?i:{spread})"


def bearings_by_name(directory: Directory, place: UUID) -> Mapping[str, UUID]:
    """The positions of a place."""
    return {bearing.name: bearing.pk for bearing in directory.positions.get(place, ())}
