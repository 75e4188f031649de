"""What a plant may choose, for all sites or for one: each with its default, what it does, and what is
allowed.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from fleet.formatting import percent
from fleet.models import Setting, Site, folded
from fleet.plant import second_person
from fleet.plant.acts import Refused
from fleet.plant.choices import set_setting
from inspections.forecasts.wear_inputs import ACCEPTED_RISK
from inspections.limits.choice_type import Choice, number_between
from inspections.limits.price_choices import (
    MOST_NAMED,
    PRICES,
    listed,
    names_of,
    require_known_names,
    require_one_money,
)
from inspections.records.facts import read_station
from inspections.visits.damage_words import known_word
from inspections.visits.signature_lines import HOURS, HOURS_SETTING
from inspections.visits.word_at_pump import HOLD_SETTING, HOLD_WORDS, NOTE_SETTING, NOTE_WORDS, RING_SETTING
from inspections.wear.arrays import USUAL_OUTAGE_DAYS


def _risk(typed: str) -> str:
    return str(number_between(typed.strip().rstrip("%").strip(), 1, 50, "%") / 100)


def _days(typed: str) -> str:
    return str(number_between(typed, 30, 3650, "days"))


def _yes_no(typed: str) -> bool:
    word = typed.strip().casefold()
    if word not in ("yes", "no"):
        raise Refused(f"“{typed}” is neither yes nor no. Write one of the two.")
    return word == "yes"


def _signatures(typed: str) -> list[str]:
    word = typed.strip().casefold()
    if word not in ("none", "checked"):
        raise Refused(f"“{typed}” is neither none nor checked. Write one of the two.")
    return [] if word == "none" else ["checked"]


def _stations(typed: str) -> list[str]:
    if typed.strip().casefold() == "none":
        return []
    words = [word for word in typed.replace(",", " ").split() if word]
    for word in words:
        if not read_station(word) or read_station(word) == ("", None):
            raise Refused(f"“{word}” is no station; write end and clock, such as in-12 out-12.")
    return words


def _damage(typed: str) -> list[str]:
    if typed.strip().casefold() == "none":
        return []
    words = [" ".join(part.split()).casefold() for part in typed.split(",") if part.strip()]
    for word in words:
        if not known_word(word):
            raise Refused(
                f"“{word}” is no word that can be ticked at the pump; write it as there, such as wiped or"
                " backs: fretted."
            )
    return words


def _words(typed: str) -> str:
    return " ".join(typed.split())[:120]


def _listed(value: Any) -> str:
    return ", ".join(value) or "none"


def _hours(typed: str) -> str:
    return str(number_between(typed, 0, 10_000, "hours"))


LONGEST, LONGEST_LINE = 500, 120
SETTING_BETWEEN, CREW_HOURS_BETWEEN = "crew_hours_between_outages", "40"
CHOICES = (
    Choice(
        "accepted_risk",
        "Accepted risk",
        "Above this chance of passing the in-service maximum before its next outage an opened bearing gets a"
        " new shell; triggers, the derived replace limit and the price of a passing follow from it.",
        "1 to 50, in per cent",
        _risk,
        lambda value: percent(float(value)),
        str(ACCEPTED_RISK),
        priced=True,
    ),
    Choice(
        "usual_outage_interval_days",
        "Usual time between outages",
        "Stands for outages that are not planned yet.",
        "30 to 3650 days",
        _days,
        lambda value: f"{float(value):.0f} days",
        str(USUAL_OUTAGE_DAYS),
    ),
    Choice(
        SETTING_BETWEEN,
        "Crew hours between outages",
        "What the plan may use between two outages for pumps whose twin "
        "runs meanwhile; 0 plans nothing there. The default is an assumption with no published source.",
        "0 to 10 000 hours",
        _hours,
        lambda value: f"{float(value):g} h",
        CREW_HOURS_BETWEEN,
    ),
    Choice(
        "signatures",
        "Second signature",
        "Whether a visit is closed only when a second person is asked to sign for it. That person signs on a"
        " device of their own; until then it awaits.",
        "none, or checked",
        _signatures,
        lambda value: "checked by a second person" if value else "none",
        [],
    ),
    Choice(
        HOURS_SETTING,
        "Hours for a second signature",
        "Within how many hours a second signature is wanted, and what a device without network claims is"
        " confirmed by sign-in. The default is an assumption with no published source.",
        "1 to 2000 hours",
        lambda typed: str(number_between(typed, 1, 2000, "hours")),
        lambda value: f"{float(value):g} h",
        HOURS,
    ),
    Choice(
        "stations",
        "Where bearings are measured",
        "The stations that the record page asks for, in this order.",
        "end and clock, such as in-12 out-12; or none",
        _stations,
        lambda value: ", ".join(value) or "as last time, else both ends on top",
        [],
    ),
    Choice(
        "photos_allowed",
        "Photos",
        "Whether photos may be taken at an open bearing.",
        "yes or no",
        _yes_no,
        lambda value: "no" if value is False else "yes",
        True,
    ),
    Choice(
        HOLD_SETTING,
        "Damage that holds",
        "Found at the open bearing these say “hold”: do not close before the engineer has "
        "signed a disposition. The default is common practice, no published source.",
        "words as ticked at the pump, a comma between; part: word for one part alone; or none",
        _damage,
        _listed,
        list(HOLD_WORDS),
    ),
    Choice(
        NOTE_SETTING,
        "Damage that is noted",
        "Found at the open bearing these ask for a photo only.",
        "words as ticked at the pump, a comma between; or none",
        _damage,
        _listed,
        list(NOTE_WORDS),
    ),
    Choice(
        RING_SETTING,
        "Whom to ring",
        "Stands beside “hold” and “ask the engineer” at the pump: role and number, as this plant wants them.",
        "up to 120 characters",
        _words,
        lambda value: value or "the engineer of the site",
        "",
    ),
    Choice(
        second_person.SETTING,
        "Second person for limits and shells",
        "Whether a limit that is set holds only once another engineer has confirmed it. A new shell is"
        " recorded at once and counted with, and stands as not yet confirmed until another foreman or"
        " engineer has done so.",
        "yes or no",
        _yes_no,
        lambda value: "yes" if value is True else "no",
        False,
    ),
    *PRICES,
)
BY_NAME = {choice.name: choice for choice in CHOICES}


@dataclass(frozen=True)
class InForce:
    """A choice as it holds on a day: the site's own, the plant's, or the default where `row` is None."""

    choice: Choice
    words: str
    row: Setting | None
    site: Site | None = None

    @property
    def typed(self) -> str:
        """What its form begins with: what is chosen by name; of the plant's, what this site has."""
        if self.choice.typed is None or self.row is None:
            return ""
        value = self.row.value
        if self.site is not None and self.row.site_id is None:
            there = {folded(name) for name in names_of(self.choice.name, self.site)}
            value = {name: one for name, one in value.items() if folded(name) in there}
        return listed(value, self.choice.typed)

    @property
    def is_by_name(self) -> bool:
        """Whether it is a list of names with their values."""
        return self.choice.typed is not None

    @property
    def longest(self) -> int:
        """How much may be typed."""
        return MOST_NAMED * LONGEST_LINE if self.is_by_name else LONGEST


def in_force(site: Site | None, day: dt.date) -> list[InForce]:
    """Every choice as it holds at a site (None: for the plant) on a day."""
    held = []
    for choice in CHOICES:
        rows = Setting.objects.standing().filter(name=choice.name)
        rows = (
            rows.filter(site=None)
            if site is None
            else rows.exclude(site__isnull=False, site__in=Site.objects.exclude(pk=site.pk))
        )
        begun = [row for row in rows if row.from_on is None or row.from_on <= day]
        row = max(
            begun,
            key=lambda one: (one.site_id is not None, one.from_on or dt.date.min, one.entry_n),
            default=None,
        )
        held.append(InForce(choice, choice.said(choice.default if row is None else row.value), row, site))
    return held


def own_prices(sites: Iterable[Site], day: dt.date) -> list[InForce]:
    """What sites have chosen for themselves of what a decision counts with, as it holds on a day."""
    priced = {choice.name: choice for choice in CHOICES if choice.priced}
    rows = Setting.objects.standing().filter(name__in=priced, site__in=list(sites)).select_related("site")
    last: dict[tuple[str, str], Setting] = {}
    for row in sorted(rows, key=lambda one: (one.from_on or dt.date.min, one.entry_n)):
        if row.site is not None and (row.from_on is None or row.from_on <= day):
            last[row.site.folded, row.name] = row
    order = list(priced)
    return [
        InForce(priced[name], priced[name].said(row.value), row, row.site)
        for (_, name), row in sorted(last.items(), key=lambda one: (one[0][0], order.index(one[0][1])))
    ]


def choose(*, name: str, typed: str, site: Site | None, from_on: dt.date | None, by: Any) -> Setting:
    """Record a choice from a day on.

    Raises
    ------
    Refused
        for a choice nobody knows or a value that is not allowed, with what is.
    """
    choice = BY_NAME.get(name)
    if choice is None:
        raise Refused(f"Nothing called “{name}” can be chosen.")
    if not typed.strip():
        raise Refused(f"{choice.label}: give what is chosen. Allowed: {choice.allowed}.")
    value = choice.read(typed)
    if choice.priced:
        require_one_money(name, value, site, from_on)
    if choice.typed:
        require_known_names(name, value, site)
    return set_setting(name=name, value=value, site=site, from_on=from_on, by=by)
