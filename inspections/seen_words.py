"""Words for what is seen at an open bearing, by part."""

from collections.abc import Callable
from typing import Any

# As mechanics say them (damage vocabulary of ISO 7146 in plain words; own selection).
PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("lower half", ("dull grey, as it should be", "bright spots", "black spots", "scored", "wiped", "cracked", "loose bond", "pitted", "dirt embedded")),
    ("upper half", ("dull grey, as it should be", "scored", "wiped", "cracked", "loose bond", "dirt embedded")),
    ("backs", ("bright spots: shell moves", "fretted", "clean")),
    ("journal", ("smooth", "scored", "oval", "tapered", "blued", "rusted", "electrically pitted")),
    ("oil ring", ("turns freely", "worn", "out of round", "stuck")),
    ("thrust faces", ("even", "scored", "worn on one side")),
    ("seals", ("fit", "worn", "rubbed")),
    ("housing", ("clean", "sludge", "water", "cracked", "joint leaks")),
)  # fmt: skip


def parts_said(many: Callable[[str], list[str]], one: Callable[[str], str]) -> dict[str, dict[str, Any]]:
    """What a form says of each part: known words only, where, and a remark of its own."""
    return {
        part: {
            "words": [word for word in many(f"words {part}") if word in words],
            "where": one(f"where {part}"), "note": one(f"note {part}"),
        }
        for part, words in PARTS
    }  # fmt: skip
