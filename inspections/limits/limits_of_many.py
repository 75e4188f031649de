"""One limit set for many bearings at once, and the rules in print beside all of them: compared, never applied
by itself.
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction

from fleet.models import Bearing, BearingFacts, Chain, Limit, LimitUse
from fleet.models.recorded import IN_ORDER
from fleet.plant.acts import Refused
from fleet.plant.limits import set_limits
from fleet.published_rules import RULES
from inspections.limits.doubts import Doubt, Ground, doubts
from inspections.limits.limits_of_one import in_order
from inspections.models import Reading


@dataclass(frozen=True)
class BearingLimits:
    """One bearing with what a limit is looked at against. Lengths in um, diametral; `rules`: one for each of
    `RULES`.
    """

    bearing: Bearing
    ground: Ground
    limits: dict[str, Decimal] = field(default_factory=dict)

    @property
    def name(self) -> str:
        return f"{self.bearing.place.tag} {self.bearing.name}"

    @property
    def rules(self) -> list[Decimal | None]:
        journal = self.ground.journal_um
        return [rule.value_um(journal) if journal else None for rule in RULES]

    @property
    def maximum(self) -> Decimal | None:
        return self.limits.get(LimitUse.IN_SERVICE_MAX)

    @property
    def replace(self) -> Decimal | None:
        return self.limits.get(LimitUse.REPLACE)

    def doubts(self, use: str, um: Decimal, unit: str) -> list[Doubt]:
        """What speaks against a limit of `um` for this bearing."""
        return doubts(use, um, unit, self.ground)


def bearings_with_limits(bearings: Sequence[Bearing], today: dt.date) -> list[BearingLimits]:
    """Every bearing with its journal, its last reading and its limits: a few questions to the database for
    all.
    """
    ids = [one.pk for one in bearings]
    facts = BearingFacts.objects.filter(bearing__in=ids).holding_on(today, "bearing_id")
    held = Limit.objects.filter(bearing__in=ids).holding_on(today, "bearing_id", "use")
    rows = Reading.objects.for_wear().filter(bearing__in=ids, quantity="clearance", value_um__isnull=False)
    last = {row.bearing_id: row for row in rows.order_by("on", *IN_ORDER)}
    own: dict[uuid.UUID, dict[str, Decimal]] = {pk: {} for pk in ids}
    for (bearing, use), row in held.items():
        if row.value_um is not None:
            own[bearing][use] = row.value_um
    return [
        BearingLimits(
            one,
            Ground(facts[one.pk].journal_diameter_um if one.pk in facts else None, last.get(one.pk)),
            own[one.pk],
        )
        for one in bearings
    ]


def set_for_many(
    rows: Sequence[BearingLimits],
    *,
    use: str,
    um: Decimal,
    unit: str,
    typed: str,
    authority: str,
    document: str,
    from_on: dt.date | None,
    reason: str,
    by: uuid.UUID,
) -> int:
    """The same limit for many bearings in one act, or for none; those that have it already get nothing.

    Parameters
    ----------
    um : Decimal
        diametral; `typed` and `unit` as it was written.

    Returns
    -------
    int
        how many were set or proposed.

    Raises
    ------
    Refused
        where it would put a least above its most at one of them.
    """
    todo = [one for one in rows if one.limits.get(use) != um]
    if not todo:
        return 0
    with transaction.atomic():
        chains = sorted(f"bearing:{one.bearing.pk}" for one in todo)
        list(Chain.objects.select_for_update().filter(id__in=chains).order_by("id"))
        for one in todo:
            try:
                in_order(one.bearing, use, um, from_on)
            except Refused as refused:
                raise Refused(f"{one.name}: {refused} Nothing was stored.") from None
        set_limits(
            [one.bearing for one in todo],
            {use: um},
            authority=authority,
            document=document.strip(),
            from_on=from_on,
            by=by,
            typed=typed[:40],
            unit=unit,
            reason=reason.strip(),
        )
    return len(todo)
