"""Pumps and bearings that a history names and nobody has registered: asked about in one table, made in the
import's act.
"""

from collections.abc import Sequence
from uuid import UUID

from fleet.importing.answers import Choice
from fleet.importing.directory import Directory, letters_and_digits
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.reading_plans.heading_words import position_in
from fleet.ledger.writing import Fact
from fleet.models import Bearing, Place, Recorded, Rotor, Site, folded
from fleet.plant.acts import fact_of, kind_by_kind
from fleet.plant.register import NewPlace, place_rows, position_rows

NEW_PUMP = "new_pump"
NO_POSITION = "-"  # how rows of the pump itself are named among its positions
CREATE = "create"
_MADE = "new_plant"
_ROTORS = "rotors_made"  # place to rotor


def subject(site: str | None, tag: str) -> str:
    """What a question about a new pump is about."""
    return f"{site or ''}|{tag}"


def position_named(row: ParsedRow) -> str:
    """The position a row names; `-` where it is of the pump itself."""
    return str(row.get("position") or NO_POSITION)


def is_made(place: Place, context: Context) -> bool:
    """Whether a pump is one that this import makes."""
    return any(one is place for one in context.memory.get(_MADE, ()))


def choices(about: str, context: Context) -> Sequence[Choice]:
    """Create them; their site is asked for where neither the sheet nor the register says it."""
    directory, words = context.directory, "these pumps and bearings are new: create them"
    tags = sorted({p.tag for some in directory.places.values() for p in some if _may(p.site_id, context)})
    is_one = (
        Choice(
            "is", "those ticked are all one pump of the register", "the pump", tuple(tags[:400]), only=True
        ),
    )
    if about.partition("|")[0] or _only_site(context) is not None:
        return (Choice(CREATE, words), *(is_one if tags else ()))
    own = tuple(sorted(site.name for site in directory.sites.values() if _may(site.pk, context)))
    asked = Choice(CREATE, f"{words} at the site", "the site", own, only=context.sites is not None)
    return (asked, *(is_one if tags else ()))


def create(about: str, site_name: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """Make the pump with the positions of these rows; one that differs in marks alone is the one made before.

    Nothing is written before the sheet is stored; until then the pump stands in the directory only.
    """
    said, _, tag = about.partition("|")
    site = _site(said or site_name, context)
    if site is None:
        return False
    place = _place(tag, site, context)
    for row in rows:
        if position := row.get("position"):
            create_position(place, position, context)
    return True


def create_position(place: Place, position: str, context: Context) -> bool:
    """Make one position; one of the same letters, or the same words of the trade, is the one made before."""
    directory = context.directory
    if directory.bearing(place, position) is not None:
        return True
    for known in directory.positions.get(place.pk, ()):
        if _alike(known.name) == _alike(position):
            directory.bearings[place.pk, directory.fold(position)] = known
            context.memory.setdefault("learnt", {})["bearing", known.pk, position] = known
            return True
    made = context.memory.setdefault(_MADE, [])
    rotor = (
        context.memory.get(_ROTORS, {}).get(place.pk)
        or Rotor.objects.filter(
            fittings__machine__installations__place=place, withdrawn_by__isnull=True
        ).first()
    )
    rows = position_rows(place=place, rotor=rotor, position=position)
    made += rows
    directory.add_position(next(one for one in rows if isinstance(one, Bearing)))
    return True


def create_site(name: str, context: Context) -> bool:
    """A site of that name, where this person may make one."""
    return _site(name, context) is not None


def facts(context: Context) -> list[Fact]:
    """What was made, in the order in which rows point to each other."""
    return kind_by_kind([fact_of(row) for row in context.memory.get(_MADE, ())])


def _place(tag: str, site: Site, context: Context) -> Place:
    directory: Directory = context.directory
    standing = directory.places_of(tag, site)
    if standing:
        return standing[0]
    alike = directory.spelt(tag, site)
    if alike is not None:
        directory.places.setdefault(directory.fold(tag), []).append(alike)
        context.memory.setdefault("learnt", {})["place", alike.pk, tag] = alike
        return alike
    rows: list[Recorded] = place_rows(NewPlace(site=site, tag=tag, positions=()))
    place = next(one for one in rows if isinstance(one, Place))
    rotor = next(one for one in rows if isinstance(one, Rotor))
    context.memory.setdefault(_MADE, []).extend(rows)
    context.memory.setdefault(_ROTORS, {})[place.pk] = rotor
    directory.add_place(place)
    return place


def _site(name: str, context: Context) -> Site | None:
    """The site of that name, made where this person may; without a name the only one there is."""
    if not name:
        return _only_site(context)
    site = context.directory.site(name)
    if site is not None:
        return site if _may(site.pk, context) else None
    if context.sites is not None or not name.strip():
        return None
    site = Site(name=name.strip(), folded=folded(name))
    context.memory.setdefault(_MADE, []).append(site)
    context.directory.sites[context.directory.fold(name)] = site
    return site


def _only_site(context: Context) -> Site | None:
    """The site of rows that name none, where only one can be meant."""
    if context.site is not None:
        return context.site
    own = [site for site in context.directory.sites.values() if _may(site.pk, context)]
    return own[0] if len({site.pk for site in own}) == 1 else None


def _may(site: UUID, context: Context) -> bool:
    return context.sites is None or site in context.sites


def _alike(position: str) -> str:
    return letters_and_digits(position_in(position) or position)
