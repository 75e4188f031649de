"""How a reading was taken: the plant's usual conditions, and what an exception from them adds to its
uncertainty.

The figures are judgements of common practice, no published source; a plant's own setting replaces them.
"""

from collections.abc import Iterable, Mapping
from typing import Any

AS_USUAL = "as_usual"
USUAL_WORDS = "cap torqued, coupling open, oil wiped, metal at one temperature"
# Exception: how it is called, and the standard uncertainty it adds to one reading, um.
EXCEPTIONS: dict[str, tuple[str, float]] = {
    "cap_loose": ("cap not torqued", 20.0),
    "coupled": ("coupling still connected", 15.0),
    "oily": ("oil not wiped off", 10.0),
    "warm": ("metal not at one temperature", 15.0),
    "worn_gauge": ("gauge in doubt", 15.0),
}


def conditions_of(ticked: Iterable[str]) -> dict[str, Any]:
    """What is kept with a reading: as usual, or each exception.

    >>> conditions_of([]), conditions_of(["warm"])
    ({'as_usual': True}, {'warm': True})
    """
    chosen = {name: True for name in ticked if name in EXCEPTIONS}
    return chosen or {AS_USUAL: True}


def exceptions_um(conditions: Mapping[str, Any]) -> list[float]:
    """The standard uncertainties, um, that a reading's exceptions add."""
    return [sd for name, (_, sd) in EXCEPTIONS.items() if conditions.get(name)]


def exception_words(conditions: Mapping[str, Any]) -> list[str]:
    """The exceptions of a reading by name."""
    return [words for name, (words, _) in EXCEPTIONS.items() if conditions.get(name)]
