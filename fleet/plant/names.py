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

# Names -------------------------------------------------------------------------------------------------------


def rename(
    thing: Site | Place | Bearing | WearClass,
    *,
    name: str,
    from_on: dt.date | None,
    reason: str,
    by: uuid.UUID,
) -> None:
    """Give a site, pump, position or class another name; the old one leads on."""
    new = _filled(name, "new name")
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
    row = _name_row(thing, _filled(text, "spelling"), None, True)
    record([row], by=by)
    return row


def _name_row(thing: Any, text: str, from_on: dt.date | None, spelling: bool) -> Name:
    of = {Site: "site", Place: "place", Bearing: "bearing", WearClass: "wear_class"}[type(thing)]
    place = thing if of == "place" else thing.place if of == "bearing" else None
    site = place.site if place else None
    return Name(
        of=of, thing=thing.id, site=site, text=text, folded=folded(text), from_on=from_on, spelling=spelling
    )
