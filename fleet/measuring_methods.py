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
    ranged : whether its gauge reads within a range alone; offered : whether pages and devices offer it;
    steps, heed : how it is done and what to heed, lines to begin a site's card with, without any torque or
    number (those stand in the machine's book); rests_on : their source, common practice where empty.
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
    steps: tuple[str, ...] = ()
    heed: tuple[str, ...] = ()
    rests_on: str = ""


_CAP = (
    "Fit the cap, tighten it as the machine's book says, take it off again. The shaft is never turned"
    " meanwhile."
)
NOT_NAMED = Spread(13.0, 6.0)

_ENTRIES = (
    MeasuringMethod(
        "plastic_strip",
        "plastic strip",
        Spread(10.0, 4.0),
        heard=r"plasti|strip",
        usual_for=("clearance",),
        ranged=True,
        steps=(
            "Oily or dry as the packet says, and the same every time.",
            ("One strip along the top of the journal near each end, clear of grooves and of the oil hole."),
            _CAP,
            "Read the widest place against the scale of that very packet, no other.",
            (
                "Wider than the widest bar: write < and the least of the scale; not flattened: write >"
                " and its most."
            ),
        ),
        heed=("Take every piece of strip off the metal before you close up.",),
    ),
    MeasuringMethod(
        "lead_wire",
        "lead wire",
        Spread(12.5, 6.0),
        heard=r"lead(?! by)|wire",
        steps=(
            (
                "Short pieces of soft wire across the top of the journal near each end, clear of the oil"
                " pocket, and on both joint faces beside them."
            ),
            _CAP,
            "Measure each piece at its thinnest with a micrometer.",
            "Clearance of an end: its top wire less the mean of its joint wires.",
        ),
        heed=(
            "Take the thinnest wire that is still flattened: a thick one dents the lining.",
            "Lead: wash before you eat.",
        ),
    ),
    MeasuringMethod(
        "lift_check",
        "lift check",
        Spread(19.0, 10.0),
        heard=r"\blift(?:ed|ing)? ?check|\bjack|\bdial\b|\bd\.?t\.?i\b",
        steps=(
            "Isolated, coupling open, cap tightened as the machine's book says.",
            (
                "One dial on the shaft close beside the bearing, straight above its middle; a second on"
                " the housing."
            ),
            "Lift straight up and slowly until the shaft's dial stops gaining, and read both.",
            "Clearance: the shaft's dial less the housing's.",
            "Let down, see both dials return, and lift again: two lifts that agree.",
        ),
        heed=(
            "Seal and wear rings limit the lift: stop where the load rises and the dial does not.",
            "Rated gear and the lifting plan; no hand between shaft and shell.",
        ),
    ),
    MeasuringMethod(
        "feeler",
        "feeler",
        Spread(19.0, 10.0),
        heard=r"feeler|blade",
        usual_for=("end_float", "side_gap"),
        steps=(
            "Shaft at rest, at the bottom of its bearing.",
            "Clean leaves, few together, in along the shaft and without force.",
            "Both sides at both ends, clear of the relief at the joint.",
            ("Write both leaves: the thickest that enters and the next that does not, such as low-high."),
            "Hold left against right and end against end: they show where the shaft stands.",
        ),
        heed=("Turn no shaft while a leaf is in the gap.",),
    ),
    MeasuringMethod(
        "bore_gauge",
        "bore gauge",
        Spread(5.0, 0.0),
        heard=r"bore gauge",
        usual_for=("bore",),
        fine=True,
        reference=True,
        steps=(
            (
                "Halves bolted together without the shaft, tightened as the machine's book says; shell,"
                " gauge and micrometer at one temperature."
            ),
            "Set the gauge in the micrometer that measures the journal.",
            "Upright and across near each end; rock the gauge and take its least reading.",
            "Measure the journal at the same places: bore less journal is the clearance.",
        ),
        heed=("Across alone hides the wear: it sits at the bottom.",),
    ),
    MeasuringMethod(
        "micrometer",
        "micrometer",
        Spread(6.0, 0.0),
        heard=r"\bmic(?:s|ro|rometer)?\b",
        usual_for=("journal", "housing_fit"),
        fine=True,
        reference=True,
        steps=(
            "Wipe journal and anvils; see that the micrometer shows nought, or its standard.",
            "Near each end and in the middle, upright and across, by the ratchet.",
            "Write each place; a journal out of round or tapered is a finding of its own.",
        ),
        heed=("No mark on the journal: anvils square and clean.",),
    ),
    MeasuringMethod(
        "crown_thickness",
        "crown thickness",
        Spread(5.0, 0.0),
        heard=r"crown|ball mic",
        measures="wall",
        usual_for=("wall",),
        steps=(
            "Over a ball on the lined side: a flat anvil bridges the curve and reads too thick.",
            "At the marked lines of the loaded half, both ends, the same lines every time.",
            "Take the ball's diameter off, or give it to the page to be taken off.",
        ),
        heed=("Bright spots on the outside of a shell: photo, and tell the engineer.",),
        rests_on="over a ball: TM 55-1905-221-14-3; the rest common practice, no published source",
    ),
    MeasuringMethod(
        "depth_gauge",
        "depth gauge",
        Spread(13.0, 0.0),
        heard=r"depth|bridge",
        measures="shaft_drop",
        usual_for=("shaft_drop",),
        steps=(
            "Clean the port and the face the gauge stands on.",
            "Bridge gauge: its feet on their own marks, never turned about.",
            "Use the constant that is stamped beside the port, every time.",
        ),
        rests_on="the stamped constant: NAVEDTRA 14111; the rest common practice, no published source",
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
