"""Sites, pumps and positions by every name the plant has used, read once for a whole file."""

import difflib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

from fleet.models import Bearing, Name, Place, Site, folded


@dataclass
class Directory:
    """What names lead to. Names in use come before old names and spellings; both are compared folded.

    `offered` are the sites at which the person may bring this sheet (None: all): what stands at others is
    not known here at all, so that no answer tells it from what stands nowhere.
    """

    sites: dict[str, Site] = field(default_factory=dict)
    places: dict[str, list[Place]] = field(default_factory=dict)
    bearings: dict[tuple[UUID, str], Bearing] = field(default_factory=dict)
    positions: dict[UUID, list[Bearing]] = field(default_factory=dict)
    offered: frozenset[UUID] | None = None
    _folded: dict[str, str] = field(default_factory=dict)
    _bare: dict[str, list[Place]] | None = None
    _names: dict[UUID, str] = field(default_factory=dict)

    @classmethod
    def load(cls, offered: frozenset[UUID] | None = None) -> "Directory":
        """Read the standing sites, places and positions with their names: four questions to the database."""
        self = cls(offered=offered)
        sites, rows = Site.objects.standing(), Place.objects.standing().select_related("site")
        standing = Bearing.objects.standing()
        if offered is not None:
            sites, rows = sites.filter(pk__in=offered), rows.filter(site__in=offered)
            standing = standing.filter(place__site__in=offered)
        self.sites = {site.folded: site for site in sites}
        places, bearings = list(rows), list(standing)
        by_tag: dict[str, list[Place]] = defaultdict(list)
        for place in places:
            by_tag[place.folded].append(place)
        positions: dict[UUID, list[Bearing]] = defaultdict(list)
        for bearing in bearings:
            self.bearings[bearing.place_id, bearing.folded] = bearing
            positions[bearing.place_id].append(bearing)
        self.places, self.positions = dict(by_tag), dict(positions)
        self._add_other_names({p.id: p for p in places}, {b.id: b for b in bearings})
        return self

    def _add_other_names(self, places: dict[UUID, Place], bearings: dict[UUID, Bearing]) -> None:
        """Old names and spellings lead on where no name in use is the same."""
        by_id = {site.id: site for site in self.sites.values()}
        for of, thing, name in Name.objects.standing().values_list("of", "thing", "folded"):
            if of == Name.Of.SITE and thing in by_id:
                self.sites.setdefault(name, by_id[thing])
            elif of == Name.Of.PLACE and thing in places:
                some = self.places.setdefault(name, [])
                if not any(place.site_id == places[thing].site_id for place in some):
                    some.append(places[thing])
            elif of == Name.Of.BEARING and thing in bearings:
                self.bearings.setdefault((bearings[thing].place_id, name), bearings[thing])

    def fold(self, name: str) -> str:
        """`folded`, remembered: a sheet names the same pump many times."""
        known = self._folded.get(name)
        if known is None:
            known = self._folded[name] = folded(name)
        return known

    def site(self, name: str) -> Site | None:
        """The site of that name."""
        return self.sites.get(self.fold(name))

    def places_of(self, tag: str, site: Site | None = None) -> list[Place]:
        """The places a tag can mean, at one site or at all."""
        found = self.places.get(self.fold(tag), [])
        return [place for place in found if place.site_id == site.id] if site else list(found)

    def bearing(self, place: Place, position: str) -> Bearing | None:
        """The position of that name on a place."""
        return self.bearings.get((place.id, self.fold(position)))

    def name_of(self, bearing: UUID) -> str:
        """A position's name as the register has it."""
        if not self._names:
            self._names = {one.pk: one.name for some in self.positions.values() for one in some}
        return self._names[bearing]

    def nearest_sites(self, name: str) -> list[str]:
        """Up to three sites whose names are most like this one."""
        return nearest(name, (site.name for site in self.sites.values() if self._may_offer(site.id)))

    def nearest_tags(self, tag: str, site: Site | None = None) -> list[str]:
        """Up to three tags most like this one, at one site or at all."""
        places = [place for some in self.places.values() for place in some if self._may_offer(place.site_id)]
        return nearest(tag, (place.tag for place in places if site is None or place.site_id == site.id))

    def spelt(self, tag: str, site: Site | None = None) -> Place | None:
        """The one pump whose name has the same letters and digits in the same order; None for none or
        several.
        """
        if self._bare is None:
            self._bare = defaultdict(list)
            for some in self.places.values():
                for place in some:
                    if place not in self._bare[letters_and_digits(place.tag)]:
                        self._bare[letters_and_digits(place.tag)].append(place)
        found = [
            place
            for place in self._bare.get(letters_and_digits(tag), ())
            if self._may_offer(place.site_id) and (site is None or place.site_id == site.id)
        ]
        return found[0] if len(found) == 1 else None

    def spelt_position(self, position: str, place: Place) -> Bearing | None:
        """The one position of a pump with the same letters and digits."""
        found = [
            one
            for one in self.positions.get(place.id, ())
            if letters_and_digits(one.name) == letters_and_digits(position)
        ]
        return found[0] if len(found) == 1 else None

    def nearest_positions(self, position: str, place: Place) -> list[str]:
        """Up to three positions of a pump most like this one; all of them where none is."""
        known = [bearing.name for bearing in self.positions.get(place.id, [])]
        return nearest(position, known) or sorted(known)[:3]

    def add_place(self, place: Place) -> None:
        """A pump that an import is about to make."""
        self.places.setdefault(self.fold(place.tag), []).append(place)
        self._bare = None

    def add_position(self, bearing: Bearing) -> None:
        """A position that an import is about to make."""
        self.bearings[bearing.place_id, self.fold(bearing.name)] = bearing
        self.positions.setdefault(bearing.place_id, []).append(bearing)
        self._names.clear()

    def place(self, pk: UUID) -> Place | None:
        """The pump of that inner id."""
        return next((one for some in self.places.values() for one in some if one.pk == pk), None)

    def _may_offer(self, site: UUID) -> bool:
        return self.offered is None or site in self.offered


def nearest(name: str, known: Iterable[str], n: int = 3) -> list[str]:
    """Up to `n` known names most like `name`, the nearest first; marks and case count for nothing.

    Examples
    --------
    >>> nearest("P101-A", ["P-101A", "P-101B", "Q-7"])
    ['P-101A', 'P-101B']
    """
    bare = {one: letters_and_digits(one) for one in dict.fromkeys(known)}
    wanted = letters_and_digits(name)
    scored = ((difflib.SequenceMatcher(None, wanted, text).ratio(), one) for one, text in bare.items())
    good = sorted((pair for pair in scored if pair[0] >= 0.6), key=lambda pair: (-pair[0], pair[1]))
    return [one for _, one in good[:n]]


def letters_and_digits(name: str) -> str:
    """A name without marks, in small letters: what two spellings of one name have in common."""
    return "".join(c for c in name.casefold() if c.isalnum())


def in_words(names: list[str]) -> str:
    """`'A', 'B' or 'C'`; nothing for none."""
    quoted = [f"'{name}'" for name in names]
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else "".join(quoted)
