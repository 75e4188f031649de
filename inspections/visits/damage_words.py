"""Words for what is seen at an open bearing, by part."""

from collections.abc import Callable
from typing import Any

# As mechanics say them (damage vocabulary of ISO 7146 in plain words; own selection).
PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "lower half",
        (
            "dull grey, as it should be",
            "polished",
            "bright spots",
            "black spots",
            "lightly scored",
            "scored",
            "wiped",
            "cracked",
            "loose bond",
            "pitted",
            "arc pits",
            "dirt embedded",
        ),
    ),
    (
        "upper half",
        (
            "dull grey, as it should be",
            "polished",
            "lightly scored",
            "scored",
            "wiped",
            "cracked",
            "loose bond",
            "dirt embedded",
        ),
    ),
    ("backs", ("bright spots: shell moves", "fretted", "clean")),
    (
        "journal",
        (
            "smooth",
            "polished",
            "lightly scored",
            "scored",
            "oval",
            "tapered",
            "blued",
            "rusted",
            "electrically pitted",
        ),
    ),
    ("oil ring", ("turns freely", "worn", "out of round", "stuck")),
    ("thrust faces", ("even", "scored", "worn on one side")),
    ("seals", ("fit", "worn", "rubbed")),
    ("housing", ("clean", "sludge", "water", "cracked", "joint leaks")),
)
# Words that say a part is as it should be: they are recorded, and ask for nothing at closing.
AS_IT_SHOULD_BE = frozenset({"dull grey, as it should be", "smooth", "turns freely", "even", "fit", "clean"})


def known_word(entry: str) -> bool:
    """Whether an entry of a plant's list, a word or `part: word`, is one that can be ticked."""
    return any(entry in (word, f"{part}: {word}") for part, words in PARTS for word in words)


def parts_said(many: Callable[[str], list[str]], one: Callable[[str], str]) -> dict[str, dict[str, Any]]:
    """What a form says of each part: known words only, where, and a remark of its own."""
    return {
        part: {
            "words": [word for word in many(f"words {part}") if word in words],
            "where": one(f"where {part}"),
            "note": one(f"note {part}"),
        }
        for part, words in PARTS
    }
