"""The limits of one bearing as a page tells them, and the act that sets or lifts one of them."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Max, Q

from fleet.importing.register_columns import BOUNDS_UM
from fleet.importing.register_columns import LIMITS as COLUMNS
from fleet.models import (
    Bearing,
    Chain,
    Confirmation,
    Entry,
    Limit,
    LimitUse,
    Person,
    ProposedLimit,
    WearClass,
)
from fleet.models.recorded import order_of
from fleet.plant.acts import Refused
from fleet.plant.limits import set_limits
from fleet.units import from_um, to_um
from inspections.story.entry_words import LIMITS

# The least, the most, and how they are called: what no register may turn round, no page may either.
PAIRS = (
    (LimitUse.FITTING_MIN, LimitUse.FITTING_MAX),
    (LimitUse.IN_SERVICE_MIN, LimitUse.IN_SERVICE_MAX),
)
_BOUNDS = {use: BOUNDS_UM[column] for column, use in COLUMNS.items()}


class Changed(Exception):
    """Somebody else set or proposed a limit of this bearing after the page was shown."""


@dataclass(frozen=True)
class Told:
    """One limit in words. `stands`: `class` where the class's stands in, else empty;
    `row` None: none is set.
    """

    use: str
    name: str
    row: Limit | None
    who: str = ""
    stands: str = ""


@dataclass(frozen=True)
class Limits:
    """The limits of one bearing: those that hold on a day, those to come, and those that held or were taken
    back.
    """

    now: list[Told]
    coming: list[Told]
    before: list[Told]


def limits_of(bearing: Bearing, wear_class: WearClass | None, today: dt.date) -> Limits:
    """Every limit of a bearing, and those of its class that stand in for one it has not."""
    rows = list(Limit.objects.filter(bearing=bearing))
    own = Limit.objects.filter(bearing=bearing).holding_on(today, "use")
    of_class = Limit.objects.filter(wear_class=wear_class).holding_on(today, "use") if wear_class else {}
    who = _authors([*rows, *of_class.values()])
    now = []
    for use in LimitUse.values:
        row = own.get(use) or of_class.get(use)
        stands = "class" if row is not None and row.bearing_id is None else ""
        now.append(_told(use, row, who, stands))
    holding = {row.pk for row in own.values()}
    rest = [row for row in rows if row.pk not in holding]
    later = [row for row in rest if not row.withdrawn_by and row.from_on and row.from_on > today]
    gone = [row for row in rest if row not in later]
    return Limits(
        now,
        [_told(row.use, row, who) for row in sorted(later, key=_order)],
        [_told(row.use, row, who) for row in sorted(gone, key=_order, reverse=True)],
    )


def _told(use: str, row: Limit | None, who: dict[UUID, str], stands: str = "") -> Told:
    return Told(use, LIMITS[use], row, who.get(row.pk, "") if row else "", stands)


def _order(row: Limit) -> tuple:
    return row.from_on or dt.date.min, *order_of(row)


def _authors(rows: Sequence[Limit]) -> dict[UUID, str]:
    """Who set each limit; where a second person was wanted, who proposed and who confirmed it."""
    acts = Confirmation.objects.filter(act__in={row.act for row in rows}, of="limit")
    things = {(one.act, one.thing) for one in acts}
    proposals = {one.pk: one for one in ProposedLimit.objects.filter(pk__in={thing for _, thing in things})}
    first = {(act, proposals[thing].use): proposals[thing].recorded_by for act, thing in things}
    people = _people([row.recorded_by for row in rows] + list(first.values()))
    said = {}
    for row in rows:
        by, proposer = people.get(row.recorded_by, "someone not known"), first.get((row.act, row.use))
        said[row.pk] = (
            f"proposed by {people.get(proposer, 'someone not known')}, confirmed by {by}" if proposer else by
        )
    return said


def _people(ids: Iterable[UUID]) -> dict[UUID, str]:
    return {one.pk: str(one) for one in Person.objects.filter(pk__in=set(ids))}


def seen(bearing: Bearing) -> int:
    """The number, among all entries, of the last one about this bearing's limits: what a page has seen of
    them.
    """
    own = Entry.objects.filter(chain=f"bearing:{bearing.pk}")
    about = Q(kind__in=("limit", "proposed_limit", "confirmation"))
    about |= Q(thing__in=Limit.objects.filter(bearing=bearing).values("pk"))
    return own.filter(about).aggregate(last=Max("id"))["last"] or 0


def set_limit(
    *,
    bearing: Bearing,
    id: UUID,
    seen_before: int,
    use: str,
    value: Decimal | None,
    unit: str,
    typed: str,
    basis: str = "diametral",
    authority: str,
    document: str,
    from_on: dt.date | None,
    reason: str,
    by: UUID,
) -> Limit | ProposedLimit | None:
    """Set one limit from a day on, or (`value` None) lift it; None where this very form was stored already.

    Parameters
    ----------
    id : UUID
        the form's own, so that a double submission stores once.
    seen_before : int
        what `seen` said when the page was shown.
    value : Decimal, optional
        in `unit`, on `basis`.

    Raises
    ------
    Changed
        where somebody else was faster; nothing is stored.
    Refused
        for a value that cannot be, or a least above its most.
    """
    um = None if value is None else typed_um(use, value, unit, basis)
    if not reason.strip():
        raise Refused(
            "No reason was given. Say in a few words why, so that the record can be understood later."
        )
    with transaction.atomic():
        # The chain is held, so that of two who send at once the second sees what the first has stored.
        Chain.objects.select_for_update().filter(id=f"bearing:{bearing.pk}").first()
        if Limit.objects.filter(pk=id).exists() or ProposedLimit.objects.filter(pk=id).exists():
            return None
        if seen(bearing) != seen_before:
            raise Changed
        in_order(bearing, use, um, from_on)
        more: dict[str, Any] = {"id": id, "reason": reason.strip()}
        if um is not None:
            more |= {"unit": unit, "typed": typed[:33] + (" radial" if _halved(use, basis) else "")}
        (row,) = set_limits(
            [bearing],
            {use: um},
            authority=authority,
            document=document.strip(),
            from_on=from_on,
            by=by,
            **more,
        )
    return row


def _halved(use: str, basis: str) -> bool:
    return basis == "radial" and use != LimitUse.LINING_MIN


def in_um(use: str, value: Decimal, unit: str, basis: str) -> Decimal:
    """A typed limit in um, a radial one as the diametral one it stands for."""
    return to_um(value, unit) * (2 if _halved(use, basis) else 1)


def typed_um(use: str, value: Decimal, unit: str, basis: str) -> Decimal:
    """A typed limit in um, diametral; refused where no such limit can be."""
    um = in_um(use, value, unit, basis)
    low, high = _BOUNDS[use]
    if not low <= um <= high:
        raise Refused(
            f"{value} {unit} lies outside what a {LIMITS[use]} can be, {from_um(Decimal(low), unit)} to "
            f"{from_um(Decimal(high), unit)} {unit}. Check the unit."
        )
    return um


def in_order(bearing: Bearing, use: str, um: Decimal | None, from_on: dt.date | None) -> None:
    """Refuse a least above its most, as they hold on the day from which the limit is to hold."""
    if um is None:
        return
    held = Limit.objects.filter(bearing=bearing).holding_on(from_on or dt.date.min, "use")
    known = {name: row.value_um for name, row in held.items() if row.value_um is not None} | {use: um}
    for least, most in PAIRS:
        if use in (least, most) and least in known and most in known and known[least] > known[most]:
            raise Refused(
                f"The {LIMITS[least]} would be {from_um(known[least], 'mm')} mm and the {LIMITS[most]}"
                f" {from_um(known[most], 'mm')} mm. A least cannot lie above its most: check the value and"
                " its unit."
            )
