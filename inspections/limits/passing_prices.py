"""What a passing of the maximum is priced at, by class, as it follows from a plant's choices."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from fleet.models import Bearing, BearingFacts, Setting, SettingsRead, Site, WearClass, WorkHours
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.plant_prices import CREW_HOUR, USUAL_HOURS
from inspections.limits.price_choices import price_words


@dataclass(frozen=True)
class Price:
    """Bearings of one class at one site with one accepted risk: what a passing of one of them is priced at.

    Crew hours, least and most; `low`, `high` the same in the plant's money where a crew hour is priced.
    `consequence` k, which is in the price and in the accepted risk already.
    """

    site: str
    wear_class: str
    bearings: int
    accepted_risk: float
    consequence: float
    low_h: float
    high_h: float
    low: str = ""
    high: str = ""


def prices(sites: Iterable[Site], today: date) -> list[Price]:
    """Prices of a passing by site, class, accepted risk and consequence; bearings without a maximum have
    none.
    """
    bearings = list(Bearing.objects.standing().at_sites(list(sites)).in_order())
    classes = _classes(bearings, today)
    groups: dict[tuple[str, str, float, float], list[float]] = defaultdict(list)
    of_site: dict[str, Site] = {}
    for bearing in bearings:
        of_site[bearing.place.site.name] = bearing.place.site
    for pk, judged in judgements(bearings, today).items():
        if judged.price_h is not None and judged.accepted_risk is not None:
            site, name = classes[pk]
            groups[site, name, round(judged.accepted_risk, 4), round(judged.consequence, 2)].append(
                judged.price_h
            )
    crew = SettingsRead(Setting.objects.standing().filter(name=CREW_HOUR))
    return [
        Price(
            site,
            name,
            len(held),
            accepted,
            k,
            min(held),
            max(held),
            *_money(held, of_site[site], crew, today),
        )
        for (site, name, accepted, k), held in sorted(groups.items())
    ]


def _classes(bearings: Iterable[Bearing], today: date) -> dict[UUID, tuple[str, str]]:
    """Site and class of each bearing, by name."""
    names: dict[Any, str] = dict(WearClass.objects.standing().values_list("pk", "name"))
    own = list(bearings)
    facts: Mapping[Any, BearingFacts] = BearingFacts.objects.filter(
        bearing__in=[one.pk for one in own]
    ).holding_on(today, "bearing_id")
    return {
        one.pk: (
            one.place.site.name,
            names.get(facts[one.pk].wear_class_id, "") if one.pk in facts else "",
        )
        for one in own
    }


def _money(held: list[float], site: Site, crew: SettingsRead, today: date) -> tuple[str, str]:
    """The least and the most in money; nothing where no crew hour is priced."""
    hour = crew.in_force(CREW_HOUR, site, today)
    if not hour:
        return "", ""
    low, high = (
        price_words({"money": str(round(Decimal(end) * Decimal(hour["money"]))), "word": hour["word"]})
        for end in (min(held), max(held))
    )
    return low, high


def work_hours() -> list[tuple[str, Any]]:
    """Crew hours of the kinds of work by class, all others last: as a sheet stated them, or as they came."""
    rows = list(WorkHours.objects.standing().select_related("wear_class").order_by(*IN_ORDER))
    named = {row.wear_class.name if row.wear_class else "": _of(row) for row in rows}
    rest = named.pop("", USUAL_HOURS)
    return [*sorted(named.items()), ("all others" if named else "all", rest)]


def _of(row: WorkHours) -> Any:
    return type(USUAL_HOURS)(
        float(row.open_hours), float(row.measure_hours), float(row.scrape_hours), float(row.replace_hours)
    )
