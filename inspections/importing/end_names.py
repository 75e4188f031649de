"""Names of ends that say different things at different plants: asked once per plant, never guessed, then
kept.

AS is a drive side or a suction side, LA the side of the coupling or a bearing A; which end of a pump is meant
only the plant knows. Common practice, no published source.
"""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from fleet.importing.directory import Directory
from fleet.importing.loaders import Context
from fleet.ledger.writing import Fact
from fleet.models import Bearing, Place, Setting, Site
from fleet.plant.acts import fact_of

END_NAMES = "end_names"
ASKED = frozenset({"as", "bs", "ca", "coa", "la", "loa"})


def end_word(position: str) -> str:
    """The bare letters of a name that is always asked about; blank for any other.

    >>> end_word("A.S."), end_word("LOA"), end_word("DE")
    ('as', 'loa', '')
    """
    bare = "".join(c for c in position.casefold() if c.isalnum())
    return bare if bare in ASKED else ""


class EndNames:
    """What the ends are called at each site: from the record, and from answers of the file at hand."""

    def __init__(self, context: Context) -> None:
        self.directory: Directory = context.directory
        self.given: Mapping[tuple[UUID, str], str] = context.memory.get(END_NAMES, {})
        self.kept: dict[UUID | None, dict[str, str]] = {}
        rows = Setting.objects.standing().filter(name=END_NAMES).order_by("entry_n")
        for site, value in rows.values_list("site_id", "value"):
            self.kept[site] = value

    def bearing(self, place: Place, position: str) -> Bearing | None:
        """The position that an end's name means on a pump, where the plant has said so."""
        word = end_word(position)
        if not word:
            return None
        meant = self.given.get((place.site_id, word)) or self.kept.get(place.site_id, {}).get(word)
        return self.directory.bearing(place, meant) if meant else None


def learn_end(position: str, meant: str, site: UUID, context: Context) -> None:
    """Use an answer for all pumps of a site; it is kept when the sheet is stored."""
    if word := end_word(position):
        context.memory.setdefault(END_NAMES, {})[site, word] = meant


def end_facts(context: Context) -> list[Fact]:
    """The settings that keep what was answered."""
    by_site: dict[UUID, dict[str, Any]] = {}
    for (site, word), meant in context.memory.get(END_NAMES, {}).items():
        by_site.setdefault(site, {})[word] = meant
    facts = []
    for site in Site.objects.filter(pk__in=list(by_site)):
        known = Setting.objects.in_force(END_NAMES, site, context.today) or {}
        if known | by_site[site.pk] != known:
            facts.append(fact_of(Setting(site=site, name=END_NAMES, value=known | by_site[site.pk])))
    return facts
