"""A contact print drawn as SVG: for the first tap, the screens at the pump and the bearing's page."""

from collections.abc import Sequence

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from inspections import contact

# How the drawings are called at the pump; `one_end` is the end that lies on the left.
DRAWN_WORDS = {
    "full_length": "full length",
    "both_ends": "both ends",
    "one_end": "one end only, left",
    "other_end": "one end only, right",
    "diagonal": "diagonal",
    "other_diagonal": "the other diagonal",
    "up_the_sides": "up the sides, not the bottom",
    "upper_side": "one side",
    "lower_side": "the other side",
    "middle": "middle only",
    "patchy": "patchy",
    "flooded": "all over, to the joints",
    "narrow": "a narrow line",
    "nothing": "nothing printed",
}
MARK_WORDS = ("none", "light", "heavy")
CELL, GAP = 10.0, 1.0


def drawing(cells: Sequence[Sequence[int]], label: str = "") -> SafeString:
    """The print as a small picture; the dashed line is the middle of the shell."""
    rows, columns = len(cells), len(cells[0])
    width, height = columns * CELL, rows * CELL
    marks = format_html_join(
        "\n",
        '<rect class="print-{}" x="{}" y="{}" width="{}" height="{}" rx="1.2"/>',
        (
            (MARK_WORDS[mark], k * CELL + GAP / 2, i * CELL + GAP / 2, CELL - GAP, CELL - GAP)
            for i, row in enumerate(cells)
            for k, mark in enumerate(row)
        ),
    )
    said = format_html('role="img" aria-label="{}"', label) if label else mark_safe('aria-hidden="true"')
    return format_html(
        '<svg class="print" viewBox="0 0 {} {}" {}>{}<line class="print-middle" x1="0" x2="{}" y1="{}"'
        ' y2="{}"/></svg>',
        width,
        height,
        said,
        marks,
        width,
        height / 2,
        height / 2,
    )


def eight() -> list[tuple[str, str, SafeString]]:
    """Name, words and drawing of the shells of the first tap."""
    return [(name, DRAWN_WORDS[name], drawing(contact.named(name).tolist())) for name in contact.NAMES]


def row_words(rows: int, half: str) -> list[str]:
    """Where each row lies: joint, side, the middle of the shell."""
    middle = {"upper": "top centre"}.get(half, "bottom centre")
    words = []
    for i in range(rows):
        off = abs(2 * i + 1 - rows) / rows
        words.append(middle if off < 0.2 else "joint" if i in (0, rows - 1) else "side")
    return words


def in_words(cells: Sequence[Sequence[int]]) -> str:
    """The print for whoever does not see the picture: how many cells printed in each column."""
    counts = [sum(1 for row in cells if row[k]) for k in range(len(cells[0]))]
    return "cells printed in each column from the left: " + ", ".join(map(str, counts))


# How thick the dye was laid on, in the words of the tin: what each looks like on the shaft. Common practice,
# no published source.
FILM_WORDS = {
    "thin": ("thin", "the metal shines through"),
    "normal": ("normal", "even blue, no metal seen"),
    "heavy": ("heavy", "it stands up, a finger leaves a trace"),
}


def films() -> list[tuple[str, str, str, SafeString]]:
    """Value, word, what it looks like and a picture of each film: the layer on the journal, cut across."""
    found = []
    for n, (value, (word, look)) in enumerate(FILM_WORDS.items()):
        high = (2, 5, 11)[n]
        layer = format_html(
            '<rect class="print-heavy" x="0" y="{}" width="60" height="{}"{}/>',
            18 - high,
            high,
            mark_safe(' opacity="0.45"' if value == "thin" else ""),
        )
        found.append(
            (
                value,
                word,
                look,
                format_html(
                    '<svg class="film" viewBox="0 0 60 24" width="60" height="24" aria-hidden="true">'
                    '<rect class="print-none" x="0" y="18" width="60" height="6"/>{}</svg>',
                    layer,
                ),
            )
        )
    return found
