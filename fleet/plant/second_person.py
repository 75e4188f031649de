"""The second person: where a plant wants one for limits and shell changes, the limit that then only waits,
and who may answer it. That is decided here and nowhere else; forms only show or hide.

A confirmation is a second entry that names the first; the limit it puts in force is written in the same act.
"""

from collections.abc import Iterable, Sequence
from uuid import UUID

from django.db import transaction

from fleet.access import MAY
from fleet.clock import today_at
from fleet.models import Account, Confirmation, Limit, ProposedLimit, Recorded, Role, Setting, Site
from fleet.plant.acts import Refused, record

SETTING = "second_person"


def sites_wanting(sites: Iterable[Site]) -> frozenset[UUID]:
    """Those of the sites that want a second person today; where no plant ever chose so, one question and no
    more.
    """
    if not Setting.objects.standing().filter(name=SETTING, value=True).exists():
        return frozenset()
    return frozenset(
        site.pk for site in sites if Setting.objects.in_force(SETTING, site, today_at(site)) is True
    )


def proposed(limit: Limit) -> ProposedLimit:
    """What waits instead of a limit that was set; it keeps the limit's own id, so that sending twice stores
    once.
    """
    assert limit.bearing is not None
    return ProposedLimit(id=limit.pk, bearing=limit.bearing, **said_of(limit))


def said_of(row: Limit | ProposedLimit) -> dict[str, object]:
    """Everything a limit says but whose it is: column -> value."""
    skipped = {"id", "bearing_id", "wear_class_id", *Recorded.STAMPS}
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if f.attname not in skipped}


def is_second(person: UUID, *, author: UUID, site: Site, act: str) -> bool:
    """Whether a person may answer what another (`author`) proposed at a site: never the author."""
    return person != author and holds_right(person, site=site, act=act)


def holds_right(person: UUID, *, site: Site, act: str) -> bool:
    """Whether a person has an account that is open and a role for an act at a site."""
    if not Account.objects.filter(person=person, is_active=True).exists():
        return False
    held = Role.objects.standing().filter(person=person, role__in=MAY[act])
    return any(where in (None, site.pk) for where in held.values_list("site_id", flat=True))


def must_be_second(person: UUID, *, author: UUID, site: Site, act: str) -> None:
    """Refuse whoever may not answer.

    Raises
    ------
    Refused
        for the author, for a person without an account that is open, and for one without the role at that
        site.
    """
    if person == author:
        raise Refused("Whoever put this forward cannot confirm or refuse it. Another person must.")
    if not is_second(person, author=author, site=site, act=act):
        raise Refused(
            f"This needs another person with an account and one of these roles at {site}:"
            f" {', '.join(sorted(MAY[act]))}."
        )


def answer_limits(
    waiting: Sequence[ProposedLimit], *, agreed: bool, reason: str = "", by: UUID
) -> list[Limit]:
    """Confirm or refuse proposed limits as one act; returns the limits that hold now.

    Raises
    ------
    Refused
        for whoever may not answer, for one answered before, and for a refusal without a reason; nothing is
        stored then.
    """
    if not agreed and not reason.strip():
        raise Refused("A refusal needs a reason: say in a few words why the limit shall not hold.")
    with transaction.atomic():
        held = ProposedLimit.objects.select_for_update(of=("self",)).select_related("bearing__place__site")
        rows = list(held.filter(pk__in=[one.pk for one in waiting]).order_by("chain", "entry_n"))
        for author, site in {(row.recorded_by, row.bearing.place.site) for row in rows}:
            must_be_second(by, author=author, site=site, act="set limits")
        must_wait(rows)
        words = reason.strip()
        answers = [
            Confirmation(bearing=row.bearing, of="limit", thing=row.pk, agreed=agreed, reason=words)
            for row in rows
        ]
        limits = [Limit(bearing=row.bearing, **said_of(row)) for row in rows] if agreed else []
        record([*answers, *limits], by=by)
    return limits


def must_wait(rows: Sequence[Recorded]) -> None:
    """Refuse what was withdrawn or answered before, also by somebody else a moment ago."""
    answered = Confirmation.objects.standing().filter(thing__in=[row.pk for row in rows])
    if any(row.withdrawn_by for row in rows) or answered.exists():
        raise Refused(
            "A second person has answered this already, or it was taken back. Look at what holds now."
        )
