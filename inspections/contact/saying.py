"""Every reason as one plain sentence, with what it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from .criteria import GEOMETRY, PRACTICE

SEAT_SOURCE = (
    "a published description of blue checks on shaft bearings: none is made where the shell sits in a "
    "spherical housing (workshopinsider.com, intermediate bearing alignment)"
)
PRESSED = "measured on simulated prints with one tap in ten wrong"

HEADLINES = {
    "spherical_seat": "Not meaningful in a spherical seat.",
    "unloaded_half": "Not meaningful: the shaft rests in the other half.",
    "turned_too_far": "Repeat the check: the shaft was turned too far.",
    "none": "Repeat the check: nothing printed.",
    "patchy": "Repeat the check: the print is patchy.",
    "flooded": "Repeat the check: the print runs up the sides.",
    "film_heavy": "Repeat the check with thin, even dye.",
    "too_wide": "Repeat the check: the print is wider than this clearance allows.",
    "one_end": "Look at the alignment first: it carries at the {end} only.",
    "diagonal": "Look at the alignment first: the print runs aslant.",
    "both_ends": "Scrape both ends, then check again.",
    "middle": "Scrape the middle, then check again.",
    "narrow": "Scrape along the line of print, then check again.",
    "short": "Scrape where it prints, then check again.",
    "full": "Acceptable: it carries over {coverage} of the length.",
}
# The same shapes where they decide nothing but another check.
AGAIN = {
    "one_end": (
        "Repeat the check: it prints at the {end} only, and only a check in place shows the alignment."
    ),
    "diagonal": "Repeat the check: the print runs aslant, and only a check in place shows the alignment.",
    "narrow": "Repeat the check: the print is narrow, and clearance and film are not both known.",
}

LIES = {
    "full": "from end to end",
    "both_ends": "at both ends",
    "one_end": "at one end",
    "diagonal": "running aslant",
    "middle": "in the middle",
    "flooded": "up to the joints",
}

SENTENCES: dict[str, tuple[str, str]] = {
    "spherical_seat": (
        "The shell has no fixed position in a spherical seat, so the print does not show how the shaft lies.",
        SEAT_SOURCE,
    ),
    "unloaded_half": (
        "In place the shaft rests in the other half; look at this half on a mandrel.",
        PRACTICE,
    ),
    "turned_too_far": (
        (
            "The shaft was turned {turned}; a little back and forth, at most {max_turn}, is enough: further"
            " smears the dye."
        ),
        PRACTICE,
    ),
    "none": ("No print: dye too thin, wiped off, or the shaft did not touch this half.", PRACTICE),
    "patchy": (
        (
            "{misfit} of the cells do not fit any plain way a shaft lies in a shell, in {n_spots}: dye uneven"
            " or too thick, or dirt."
        ),
        PRESSED + "; that islands mean bad dye is " + PRACTICE,
    ),
    "flooded": (
        (
            "The print reaches {arc} around the shell{allowed_clause}: dye too thick, or the shaft turned too"
            " far."
        ),
        PRACTICE,
    ),
    "film_heavy": (
        "It prints from end to end, but thick dye fills low places too and prints where nothing carries.",
        PRACTICE,
    ),
    "too_wide": (
        (
            "It prints {arc} around; a round bore with this clearance and film prints {allowed}. Dye too"
            " thick, or the shell is worn or bedded to the shaft: record that arc."
        ),
        GEOMETRY,
    ),
    "one_end": (
        (
            "It prints only at the {end}, over {coverage} of the length: the shaft does not lie straight in"
            " the shell."
        ),
        PRACTICE,
    ),
    "diagonal": (
        (
            "It prints on one side at one end and on the other side at the other: the shaft lies askew in the"
            " shell."
        ),
        PRACTICE,
    ),
    "place_unknown": (
        "Only a check in place shows the alignment: record whether it was taken in place or on a mandrel.",
        PRACTICE,
    ),
    "on_mandrel": (
        (
            "A mandrel that lies free rests along the shell: lay it again; if the same print comes, the bore"
            " is high there."
        ),
        PRACTICE,
    ),
    "both_ends": (
        "Two high spots, one at each end; nothing carries between them. Take off little, at the ends only.",
        PRACTICE,
    ),
    "middle": ("High in the middle: neither end carries. Take off little, in the middle only.", PRACTICE),
    "narrow": (
        (
            "It prints from end to end but only {arc} around{allowed_clause}: the shaft sits on a line."
            " Measure the clearance again before taking metal off."
        ),
        GEOMETRY,
    ),
    "short": (
        "It prints over {coverage} of the length; {min_coverage} is asked for. High: {where}.",
        PRACTICE,
    ),
    "full": (
        (
            "It prints from end to end, over {coverage} of the length ({min_coverage} is asked for), and not"
            " all the way up the sides."
        ),
        PRACTICE,
    ),
    "arc_unknown": (
        "Clearance and film are not both known, so the width of the print ({arc}) is not judged.",
        GEOMETRY,
    ),
    "arc_as_allowed": (
        (
            "The print is {arc} wide; this clearance allows {allowed} with this film, so the dye was thin"
            " enough."
        ),
        GEOMETRY,
    ),
    "narrow_as_allowed": (
        (
            "The print is narrow ({arc}) because this clearance allows no more than {allowed} with this film;"
            " scraping would not widen it for good."
        ),
        GEOMETRY,
    ),
    "wide_besides": (
        (
            "The print is {arc} wide where this clearance allows {allowed}: dye somewhat thick; what it"
            " leaves bare does not carry all the same."
        ),
        GEOMETRY,
    ),
    "close_call": (
        (
            "A close call: with one cell tapped otherwise it would read as print {rival}. Look at the cells"
            " again."
        ),
        PRESSED,
    ),
    "worn_arc": (
        (
            "Hint: worn to the shaft over {worn}, the clearance is about {ratio} times what it was when"
            " new{original_clause}."
        ),
        GEOMETRY + "; only for a shell never bedded by hand",
    ),
    "bedded_no_hint": (
        "The shell was bedded by hand, so its arc of {worn} says nothing of wear.",
        PRACTICE,
    ),
    "bedded_unknown": (
        "Was the shell ever bedded by hand? If not, its arc of {worn} tells how far it has worn.",
        PRACTICE,
    ),
}


@dataclass(frozen=True)
class Reason:
    """Why: a code for programs, a sentence for people, and what the sentence rests on."""

    code: str
    sentence: str
    basis: str


def reason(code: str, values: dict[str, str]) -> Reason:
    """The reason with its numbers filled in."""
    text, basis = SENTENCES[code]
    return Reason(code, text.format(**values), basis)


def headline(code: str, outcome: str | None, values: dict[str, str]) -> str:
    """The verdict in one sentence."""
    said = AGAIN[code] if outcome == "repeat" and code in AGAIN else HEADLINES[code]
    return said.format(**values)


def percent(share: float) -> str:
    """0.857 as `86 %`."""
    return f"{100 * share:.0f} %"


def degrees(value: float) -> str:
    """To the nearest 5 degrees: a tapped row says no more."""
    return f"{5 * round(value / 5)} degrees"


def between(pair: tuple[float, float] | None) -> str:
    """An arc allowed, from the thinnest to the thickest film."""
    if pair is None:
        return "an arc that is not known"
    low, high = (5 * round(value / 5) for value in pair)
    return f"{low} degrees" if low == high else f"{low} to {high} degrees"
