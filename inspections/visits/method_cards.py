"""How to measure: one short card a method, shown at its step once an engineer of the site has approved it.

A card is plant data, dated and with its author: the dated setting `method_card CODE` of one site, `{"steps":
[...], "heed": [...], "source": "..."}`, or `{"steps": []}` where it was taken down. The drafts here are ours;
they are shown to nobody at a pump, and name no torque and no number: those stand in the machine's book.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.models import Setting, Site
from fleet.plant.acts import Refused
from fleet.plant.choices import set_setting

SETTING = "method_card"
PRACTICE = "common practice, no published source"
MOST_LINES, LONGEST_LINE, LONGEST_SOURCE = 10, 240, 120
_CAP = (
    "Fit the cap, tighten it as the machine's book says, take it off again. The shaft is never turned"
    " meanwhile."
)


@dataclass(frozen=True)
class MethodCard:
    """One method's steps in order, what to heed, and what they rest on."""

    steps: tuple[str, ...]
    heed: tuple[str, ...] = ()
    source: str = PRACTICE


@dataclass(frozen=True)
class ApprovedCard:
    """A card as it stands at a site: approved by whom (a person's id), and since when."""

    method: str
    card: MethodCard
    by: UUID
    on: dt.date


DRAFTS: dict[str, MethodCard] = {
    "plastic_strip": MethodCard(
        (
            "Oily or dry as the packet says, and the same every time.",
            "One strip along the top of the journal near each end, clear of grooves and of the oil hole.",
            _CAP,
            "Read the widest place against the scale of that very packet, no other.",
            "Wider than the widest bar: write < and the least of the scale; not flattened: write > and its"
            " most.",
        ),
        ("Take every piece of strip off the metal before you close up.",),
    ),
    "lead_wire": MethodCard(
        (
            "Short pieces of soft wire across the top of the journal near each end, clear of the oil pocket,"
            " and on both joint faces beside them.",
            _CAP,
            "Measure each piece at its thinnest with a micrometer.",
            "Clearance of an end: its top wire less the mean of its joint wires.",
        ),
        (
            "Take the thinnest wire that is still flattened: a thick one dents the lining.",
            "Lead: wash before you eat.",
        ),
    ),
    "lift_check": MethodCard(
        (
            "Isolated, coupling open, cap tightened as the machine's book says.",
            "One dial on the shaft close beside the bearing, straight above its middle; a second on the"
            " housing.",
            "Lift straight up and slowly until the shaft's dial stops gaining, and read both.",
            "Clearance: the shaft's dial less the housing's.",
            "Let down, see both dials return, and lift again: two lifts that agree.",
        ),
        (
            "Seal and wear rings limit the lift: stop where the load rises and the dial does not.",
            "Rated gear and the lifting plan; no hand between shaft and shell.",
        ),
    ),
    "feeler": MethodCard(
        (
            "Shaft at rest, at the bottom of its bearing.",
            "Clean leaves, few together, in along the shaft and without force.",
            "Both sides at both ends, clear of the relief at the joint.",
            "Write both leaves: the thickest that enters and the next that does not, such as low-high.",
            "Hold left against right and end against end: they show where the shaft stands.",
        ),
        ("Turn no shaft while a leaf is in the gap.",),
    ),
    "bore_gauge": MethodCard(
        (
            "Halves bolted together without the shaft, tightened as the machine's book says; shell, gauge and"
            " micrometer at one temperature.",
            "Set the gauge in the micrometer that measures the journal.",
            "Upright and across near each end; rock the gauge and take its least reading.",
            "Measure the journal at the same places: bore less journal is the clearance.",
        ),
        ("Across alone hides the wear: it sits at the bottom.",),
    ),
    "micrometer": MethodCard(
        (
            "Wipe journal and anvils; see that the micrometer shows nought, or its standard.",
            "Near each end and in the middle, upright and across, by the ratchet.",
            "Write each place; a journal out of round or tapered is a finding of its own.",
        ),
        ("No mark on the journal: anvils square and clean.",),
    ),
    "crown_thickness": MethodCard(
        (
            "Over a ball on the lined side: a flat anvil bridges the curve and reads too thick.",
            "At the marked lines of the loaded half, both ends, the same lines every time.",
            "Take the ball's diameter off, or give it to the page to be taken off.",
        ),
        ("Bright spots on the outside of a shell: photo, and tell the engineer.",),
        "over a ball: TM 55-1905-221-14-3; the rest common practice, no published source",
    ),
    "depth_gauge": MethodCard(
        (
            "Clean the port and the face the gauge stands on.",
            "Bridge gauge: its feet on their own marks, never turned about.",
            "Use the constant that is stamped beside the port, every time.",
        ),
        (),
        "the stamped constant: NAVEDTRA 14111; the rest common practice, no published source",
    ),
}


def named(method: str) -> str:
    """The name of the setting that keeps a method's card."""
    return f"{SETTING} {method}"


def approved(site: Site, day: dt.date, rows: Iterable[Setting]) -> dict[str, ApprovedCard]:
    """By method, the cards in force at a site on a day among settings: its own alone, never the plant's."""
    latest: dict[str, Setting] = {}
    for row in rows:
        if row.site_id != site.pk or not row.name.startswith(f"{SETTING} ") or _since(row) > day:
            continue
        before = latest.get(row.name)
        if before is None or (_since(before), before.entry_n) < (_since(row), row.entry_n):
            latest[row.name] = row
    found = {}
    for name, row in latest.items():
        card = _read(row.value)
        if card.steps:
            method = name.removeprefix(f"{SETTING} ")
            found[method] = ApprovedCard(method, card, row.recorded_by, _since(row))
    return found


def _since(row: Setting) -> dt.date:
    return row.from_on or row.recorded_at.date()


def _read(value: Any) -> MethodCard:
    if not isinstance(value, Mapping):
        return MethodCard(())
    steps, heed = (tuple(map(str, value.get(name) or ())) for name in ("steps", "heed"))
    return MethodCard(steps, heed, str(value.get("source") or PRACTICE))


def approve(*, method: str, steps: str, heed: str, source: str, site: Site, on: dt.date, by: UUID) -> Setting:
    """Approve a method's card for one site from a day on, its lines as typed.

    Raises
    ------
    Refused
        for a method nobody knows, no step, too many lines or too long a one.
    """
    if method not in DRAFTS:
        raise Refused(f"“{method}” is no method with a card. Methods are: {', '.join(DRAFTS)}.")
    card = {"steps": _lines("Steps", steps), "heed": _lines("To heed", heed), "source": source.strip()}
    if not card["steps"]:
        raise Refused("Steps: give at least one, one to a line.")
    if len(source) > LONGEST_SOURCE:
        raise Refused(f"What it rests on: {len(source)} letters; at most {LONGEST_SOURCE}. Shorten it.")
    return set_setting(name=named(method), value=card, site=site, from_on=on, by=by)


def take_down(*, method: str, site: Site, on: dt.date, by: UUID) -> Setting:
    """Show a method's card no more at a site; what was shown stays in the record.

    Raises
    ------
    Refused
        for a method nobody knows.
    """
    if method not in DRAFTS:
        raise Refused(f"“{method}” is no method with a card. Methods are: {', '.join(DRAFTS)}.")
    return set_setting(name=named(method), value={"steps": []}, site=site, from_on=on, by=by)


def _lines(what: str, typed: str) -> list[str]:
    lines = [line for line in (" ".join(line.split()) for line in typed.splitlines()) if line]
    if len(lines) > MOST_LINES:
        raise Refused(f"{what}: {len(lines)} lines; at most {MOST_LINES}, or nobody reads them at the pump.")
    for line in lines:
        if "\0" in line or len(line) > LONGEST_LINE:
            raise Refused(f"{what}: “{line[:40]}…” is too long; at most {LONGEST_LINE} letters a line.")
    return lines
