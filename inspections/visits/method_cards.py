"""How to measure: one short card a method, shown at its step once an engineer of the site has approved it.

A card is plant data, dated and with its author: the dated setting `method_card CODE` of one site, `{"steps":
[...], "heed": [...], "source": "..."}`, or `{"steps": []}` where it was taken down. The words to begin with
are ours, each with its method (`fleet.measuring_methods`); they are shown to nobody at a pump, and name no
torque and no number: those stand in the machine's book.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.measuring_methods import METHODS
from fleet.models import Setting, Site
from fleet.plant.acts import Refused
from fleet.plant.choices import METHOD_CARD, set_setting

SETTING = METHOD_CARD
PRACTICE = "common practice, no published source"
MOST_LINES, LONGEST_LINE, LONGEST_SOURCE = 10, 240, 120


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


def drafts() -> dict[str, MethodCard]:
    """By method, the words that an engineer begins with; of the methods that have some."""
    return {
        code: MethodCard(entry.steps, entry.heed, entry.rests_on or PRACTICE)
        for code, entry in METHODS.items()
        if entry.offered and entry.steps
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
    if method not in drafts():
        raise Refused(f"“{method}” is no method with a card. Methods are: {', '.join(drafts())}.")
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
    if method not in drafts():
        raise Refused(f"“{method}” is no method with a card. Methods are: {', '.join(drafts())}.")
    return set_setting(name=named(method), value={"steps": []}, site=site, from_on=on, by=by)


def _lines(what: str, typed: str) -> list[str]:
    lines = [line for line in (" ".join(line.split()) for line in typed.splitlines()) if line]
    if len(lines) > MOST_LINES:
        raise Refused(f"{what}: {len(lines)} lines; at most {MOST_LINES}, or nobody reads them at the pump.")
    for line in lines:
        if "\0" in line or len(line) > LONGEST_LINE:
            raise Refused(f"{what}: “{line[:40]}…” is too long; at most {LONGEST_LINE} letters a line.")
    return lines
