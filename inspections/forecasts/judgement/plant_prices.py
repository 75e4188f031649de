"""What a plant accepts and what work costs there: choices, hours and money of its pumps, as a decision takes
them.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef

from fleet.models import Name, Place, PlaceFacts, Setting, WorkHours, folded
from fleet.models.plant import SettingsRead
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.wear_inputs import Known
from inspections.wear.terms import DEFAULTS, MOST_CONSEQUENCE, consequence

# Where the plant has stated none: design assumptions with no published source, in crew hours.
SHELL_H = DEFAULTS["shell_h"]
RISKS, CONSEQUENCES, CREW_HOUR, SHELL, OPENING, STOPS, INFANT = NAMES = (
    "accepted_risk_by_criticality",
    "consequence_factors",
    "crew_hour_money",
    "shell_hours",
    "opening_besides",
    "stop_hours",
    "opening_spoils",
)
ALL_OTHERS = "all others"  # names every pump that has no price of its own


@dataclass(frozen=True)
class Hours:
    """Crew hours of one class: opening is the pump's and shared, the rest is each bearing's."""

    open_h: float
    measure_h: float
    scrape_h: float
    replace_h: float


USUAL_HOURS = Hours(open_h=6.0, measure_h=2.0, scrape_h=8.0, replace_h=12.0)


@dataclass(frozen=True)
class Plant:
    """The plant's words as numbers. `hours` by class (None: all others); `weight` k of
    each pump (by place); `called` the names each pump had before, by which what is stated of it still holds.
    """

    hours: Mapping[Any, Hours]
    weight: Mapping[UUID, float]
    settings: SettingsRead
    as_of: dt.date
    called: Mapping[UUID, Sequence[str]] = field(default_factory=dict)

    def hours_of(self, one: Known) -> Hours:
        """Crew hours of the work on a bearing, by its class."""
        return self.hours.get(one.facts.wear_class_id if one.facts else None, self.hours[None])

    def risk_of(self, one: Known) -> float:
        """The accepted chance of passing: by the plant's word of criticality where one is stated, else the
        site's.
        """
        stated = _by_name(self._choice(RISKS, one), one.place.criticality if one.place else "")
        return one.accepted_risk if stated is None else float(stated)

    def shell_h(self, one: Known) -> float:
        """A shell's price in crew hours."""
        value = self._hours(self._choice(SHELL, one), one)
        return SHELL_H if value is None else value

    def opening_extra_h(self, one: Known) -> float:
        """What an opening costs besides the crew's hours, in crew hours."""
        return self._hours(self._choice(OPENING, one), one) or 0.0

    def infant(self, one: Known) -> float:
        """Chance that an opening spoils a bearing: none until the plant states one."""
        return float(self._choice(INFANT, one) or 0.0)

    def consequence_of(self, one: Known) -> float:
        """Factor k of its pump, 1 to 4: as the plant states it, else by the money of a failure."""
        stated = self._of_pump(self._choice(CONSEQUENCES, one), one)
        if stated is None:
            return self.weight.get(one.bearing.place_id, 1.0)
        return min(max(float(stated), 1.0), MOST_CONSEQUENCE)

    def stop_h(self, one: Known) -> float | None:
        """What a stop of the pump outside an outage costs, by its tag; half the opening's hours where its
        twin runs.
        """
        stated = self._choice(STOPS, one)
        for price in (self._of_pump(stated, one), _by_name(stated, ALL_OTHERS)):
            value = self._hours(price, one)
            if value is not None:
                return value
        return 0.5 * self.hours_of(one).open_h if one.place and one.place.twin else None

    def _of_pump(self, stated: Any, one: Known) -> Any:
        """What is stated for a pump by its tag, or by one it had before; None where nothing is."""
        place = one.bearing.place
        found = (_by_name(stated, name) for name in (place.tag, *self.called.get(place.pk, ())))
        return next((value for value in found if value is not None), None)

    def _hours(self, price: Any, one: Known) -> float | None:
        """A price in crew hours; None where none is stated, or no crew hour is priced in its money."""
        if not isinstance(price, Mapping):
            return None if price is None else float(price)
        crew = self._choice(CREW_HOUR, one)
        if not crew or crew["word"] != price["word"]:
            return None
        return float(price["money"]) / float(crew["money"])

    def _choice(self, name: str, one: Known) -> Any:
        return self.settings.in_force(name, one.bearing.place.site, self.as_of)


def _by_name(stated: Any, name: str) -> Any:
    """What is stated for a name, without regard to case and blanks; None where nothing is."""
    return {folded(str(word)): value for word, value in (stated or {}).items()}.get(folded(name))


def plant_of(known: Sequence[Known], as_of: dt.date) -> Plant:
    """The choices, hours and consequences that hold on a day; a constant number of queries."""
    hours: dict[Any, Hours] = {None: USUAL_HOURS}
    for row in WorkHours.objects.standing().order_by(*IN_ORDER):
        hours[row.wear_class_id] = Hours(
            float(row.open_hours), float(row.measure_hours), float(row.scrape_hours), float(row.replace_hours)
        )
    rows = Setting.objects.standing().filter(name__in=NAMES)
    sites = {one.bearing.place.site_id for one in known}
    return Plant(hours, _weights(sites, as_of), SettingsRead(rows), as_of, _called(sites))


def _called(sites: Iterable[UUID]) -> dict[UUID, list[str]]:
    """The names that pumps of these sites had before and that no pump there has now, the latest first."""
    found: dict[UUID, list[str]] = {}
    now = Place.objects.filter(site=OuterRef("site"), folded=OuterRef("folded"))
    rows = Name.objects.standing().filter(~Exists(now), of="place", site__in=sites, spelling=False)
    rows = rows.last_recorded_first()
    for place, text in rows.values_list("thing", "text"):
        found.setdefault(place, []).append(text)
    return found


def _weights(sites: Iterable[UUID], as_of: dt.date) -> dict[UUID, float]:
    """Consequence of each pump against the median of its site, held to 1 to 4."""
    found: dict[UUID, dict[UUID, float]] = {}
    facts = PlaceFacts.objects.filter(place__site__in=sites).select_related("place")
    for place, row in facts.holding_on(as_of, "place_id").items():
        money = float(row.consequence_money or 0)
        found.setdefault(row.place.site_id, {})[place] = money
    return {
        place: float(k)
        for of_site in found.values()
        for place, k in zip(of_site, consequence(np.array(list(of_site.values()))), strict=True)
    }
