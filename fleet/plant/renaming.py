"""A new name of a site, pump or position from a day on, and other spellings of it; old names lead on."""

import datetime as dt
import uuid
from typing import Any

from fleet.models import (
    Bearing,
    Name,
    Place,
    Site,
    WearClass,
    folded,
)
from fleet.plant.acts import Refused, _filled, _write, fact_of, record, revision_of

LONGEST_NAME = {Site: 80, Place: 80, Bearing: 40, WearClass: 80}
LONGEST_SPELLING = 120

# Names


def rename(
    thing: Site | Place | Bearing | WearClass,
    *,
    name: str,
    from_on: dt.date | None,
    reason: str,
    by: uuid.UUID,
) -> None:
    """Give a site, pump, position or class another name; the old one leads on.

    Raises
    ------
    Refused
        without a reason; for the name it has, one that is too long, or one that leads to another thing
        already.
    """
    new = _fitting(thing, name, "new name", LONGEST_NAME[type(thing)])
    attribute = "tag" if isinstance(thing, Place) else "name"
    old = getattr(thing, attribute)
    if old == new:
        raise Refused(f"It is called '{new}' already.")
    facts = []
    if folded(old) != folded(new):
        facts.append(fact_of(_name_row(thing, old, None, False)))
    facts.append(fact_of(_name_row(thing, new, from_on, False)))
    facts.append(revision_of(thing, {attribute: new, "folded": folded(new)}, reason=reason))
    _write(facts, by=by, act=None)
    setattr(thing, attribute, new)
    thing.folded = folded(new)


def add_spelling(thing: Site | Place | Bearing | WearClass, *, text: str, by: uuid.UUID) -> Name:
    """Another spelling of a name, as the plant's sheets have it; never shown as the name."""
    row = _name_row(thing, _fitting(thing, text, "spelling", LONGEST_SPELLING), None, True)
    record([row], by=by)
    return row


def names_of(thing: Site | Place | Bearing | WearClass) -> list[Name]:
    """The names a thing had and its other spellings, the latest recorded first."""
    rows = Name.objects.standing().filter(of=_OF[type(thing)], thing=thing.pk)
    return list(rows.last_recorded_first())


_OF = {Site: "site", Place: "place", Bearing: "bearing", WearClass: "wear_class"}


def _fitting(thing: Any, text: str, what: str, longest: int) -> str:
    """The text where it may lead to this thing; an old name or spelling of another one would lead astray."""
    new = _filled(text, what)
    if (length := max(len(new), len(folded(new)))) > longest:
        raise Refused(f"The {what} has {length} characters; at most {longest} are kept. Shorten it.")
    now, attribute = type(thing).objects.standing(), "tag" if isinstance(thing, Place) else "name"
    if isinstance(thing, Place):
        now = now.filter(site=thing.site_id)
    elif isinstance(thing, Bearing):
        now = now.filter(place=thing.place_id)
    others = {other.pk: getattr(other, attribute) for other in now.exclude(pk=thing.pk)}
    led = Name.objects.standing().filter(of=_OF[type(thing)], folded=folded(new), thing__in=others)
    bearer = next((name for name in others.values() if folded(name) == folded(new)), None)
    if bearer is None and (row := led.first()):
        bearer = others[row.thing]
    if bearer is not None:
        raise Refused(
            f"“{new}” leads to {bearer} already: sheets, labels and addresses that say so mean that one."
            " Choose another."
        )
    return new


def _name_row(thing: Any, text: str, from_on: dt.date | None, spelling: bool) -> Name:
    of = _OF[type(thing)]
    place = thing if of == "place" else thing.place if of == "bearing" else None
    site = place.site if place else None
    return Name(
        of=of, thing=thing.id, site=site, text=text, folded=folded(text), from_on=from_on, spelling=spelling
    )
