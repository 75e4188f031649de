"""What a print was read as, as it is kept with its check and as it stands on a page: one shape for both
readers' readings.

A check keeps the reading of its day: what an earlier reader said stays, with its own reasons and without
causes.
"""

from collections.abc import Mapping
from typing import Any

from inspections.contact.criteria import Criteria
from inspections.contact.reader import PrintReading
from inspections.contact.shared_table import TABLE
from inspections.visits.contact_facts import place_words

# The sentences of a reading, in the order in which they stand on a page.
LABELS = {
    "next": "Next",
    "shows": "The print shows",
    "made_by": "Made by",
    "rivals": "To tell apart",
}


def kept(reading: PrintReading, criteria: Criteria) -> dict[str, Any]:
    """What is stored of a reading beside its outcome; figures as text, as the ledger wants them."""
    words = reading.words
    basis = {"shows": "the cells as tapped", "made_by": TABLE["basis"]["print"]}
    return {
        "reader": reading.version,
        "code": reading.code,
        "engineer": reading.engineer,
        "end": reading.end,
        "side": reading.side,
        "headline": words.headline,
        "reasons": [
            [name, sentence, basis.get(name, TABLE["basis"]["advice"])]
            for name in LABELS
            if (sentence := getattr(words, name))
        ],
        "causes": [[name, str(chance)] for name, chance in reading.causes if chance >= 50],
        "places": [place_words(place) for place in reading.places],
        "coverage": f"{reading.coverage:.4g}",
        "arc_deg": f"{reading.arc_deg:.1f}",
        "criteria": criteria.whose,
    }


def lines(said: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and sentence of each reason; the reasons of an earlier reader have no label."""
    return [(LABELS.get(code, ""), sentence) for code, sentence, _ in said.get("reasons", [])]


def with_cause(said: Mapping[str, Any]) -> str:
    """The headline, and after it what likely made the print, as the reading of its day has it.

    >>> with_cause({"headline": "Do not scrape.", "reasons": [["made_by", "Likely a tilt.", "inference"]]})
    'Do not scrape. Likely a tilt.'
    """
    causes = [sentence for code, sentence, _ in said.get("reasons", []) if code == "made_by"]
    return " ".join(part for part in (said.get("headline", ""), *causes) if part)
