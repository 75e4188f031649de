"""The ways of measuring, each as one entry; forms, sheets, the engine, the drawing and devices read them
here.

The spreads are judgements of common practice, no published source; a repeat study of the plant's own confirms
or replaces them. Bore gauge and micrometer are the reference: their offset is zero unless the plant says
otherwise. A method of the plant's own has no entry: its word is kept as typed, its spread is `NOT_NAMED`'s or
a setting of the plant's.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Spread:
    """One method's standard uncertainty of a reading, and how far its offset from the reference may lie (1
    sigma).
    """

    sd_um: float
    bias_sd_um: float


@dataclass(frozen=True)
class MeasuringMethod:
    """One way of measuring.

    words : as a reader sees it; heard : what a sheet's heading calls it, a pattern, none where empty;
    measures : the quantity a reading by it is of where none is named; usual_for : the quantities it is usual
    for;
    fine : whether its scale steps by 0.001 mm, not 0.01 mm; reference : whether others' offsets are told
    against it;
    ranged : whether its gauge reads within a range alone; offered : whether pages and devices offer it.
    """

    code: str
    words: str
    spread: Spread
    heard: str = ""
    measures: str = "clearance"
    usual_for: tuple[str, ...] = ()
    fine: bool = False
    reference: bool = False
    ranged: bool = False
    offered: bool = True


NOT_NAMED = Spread(13.0, 6.0)

_ENTRIES = (
    MeasuringMethod(
        "plastic_strip",
        "plastic strip",
        Spread(10.0, 4.0),
        heard=r"plasti|strip",
        usual_for=("clearance",),
        ranged=True,
    ),
    MeasuringMethod("lead_wire", "lead wire", Spread(12.5, 6.0), heard=r"lead(?! by)|wire"),
    MeasuringMethod(
        "lift_check",
        "lift check",
        Spread(19.0, 10.0),
        heard=r"\blift(?:ed|ing)? ?check|\bjack|\bdial\b|\bd\.?t\.?i\b",
    ),
    MeasuringMethod(
        "feeler",
        "feeler",
        Spread(19.0, 10.0),
        heard=r"feeler|blade",
        usual_for=("end_float", "side_gap"),
    ),
    MeasuringMethod(
        "bore_gauge",
        "bore gauge",
        Spread(5.0, 0.0),
        heard=r"bore gauge",
        usual_for=("bore",),
        fine=True,
        reference=True,
    ),
    MeasuringMethod(
        "micrometer",
        "micrometer",
        Spread(6.0, 0.0),
        heard=r"\bmic(?:s|ro|rometer)?\b",
        usual_for=("journal", "housing_fit"),
        fine=True,
        reference=True,
    ),
    MeasuringMethod(
        "crown_thickness",
        "crown thickness",
        Spread(5.0, 0.0),
        heard=r"crown|ball mic",
        measures="wall",
        usual_for=("wall",),
    ),
    MeasuringMethod(
        "depth_gauge",
        "depth gauge",
        Spread(13.0, 0.0),
        heard=r"depth|bridge",
        measures="shaft_drop",
        usual_for=("shaft_drop",),
    ),
)
# In the order in which a heading is read: the first whose words it holds.
METHODS: dict[str, MeasuringMethod] = {entry.code: entry for entry in _ENTRIES}

# The best way of measuring a clearance: what a reading still to come is reckoned with.
BEST = "bore_gauge"


def offered() -> list[tuple[str, str]]:
    """(code, words) of each method that a page or a device offers."""
    return [(entry.code, entry.words) for entry in METHODS.values() if entry.offered]


def or_none(words: str) -> Callable[[], list[tuple[str, str]]]:
    """The choices of a field that may stay empty; `words` say what empty means. Read when
    the form is made.
    """
    return lambda: [("", words), *offered()]


def words_of(code: str, unknown: str = "") -> str:
    """A method in words; one of the plant's own by its own word, none by `unknown`.

    >>> words_of("lead_wire"), words_of("optical probe"), words_of("", "method not known")
    ('lead wire', 'optical probe', 'method not known')
    """
    return METHODS[code].words if code in METHODS else code or unknown


def heard_in(text: str) -> str:
    """The method that a sheet's heading names; empty where it names none.

    >>> heard_in("As found, feelers"), heard_in("clearance")
    ('feeler', '')
    """
    named = (m for m in METHODS.values() if m.heard and re.search(m.heard, text, re.IGNORECASE))
    return next((m.code for m in named), "")


def quantity_measured(code: str) -> str:
    """The quantity that a method measures where none is named.

    >>> quantity_measured("crown_thickness"), quantity_measured("optical probe")
    ('wall', 'clearance')
    """
    return METHODS[code].measures if code in METHODS else "clearance"


def usual_for(quantity: str) -> str:
    """How a quantity is measured where nothing was measured before; common practice, no published source.

    >>> usual_for("bore"), usual_for("clearance")
    ('bore_gauge', 'plastic_strip')
    """
    usual = (m.code for m in METHODS.values() if quantity in m.usual_for)
    return next(usual, "plastic_strip")


def is_fine(code: str) -> bool:
    """Whether a method's scale steps by 0.001 mm."""
    return code in METHODS and METHODS[code].fine


def is_reference(code: str) -> bool:
    """Whether others' offsets are told against this method."""
    return code in METHODS and METHODS[code].reference


def is_ranged(code: str) -> bool:
    """Whether a method's gauge reads within a range alone, as a plastic strip does."""
    return code in METHODS and METHODS[code].ranged
