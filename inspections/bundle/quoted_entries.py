"""Which entries tell one bearing's whole story: its own chain, its pumps' chains, and what those refer to on
others.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q

from fleet.ledger.canonical import sha256
from fleet.models import Attachment, Bearing, Calibration, Chain, Entry, Installation, Person, Role, Setting
from fleet.models.recorded import IN_ORDER
from inspections.records.position_merge import joined_into

_ID = re.compile(r'"([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})"')
# Entries refer to things that refer to others: a reading to its sheet, a place to its site. Three steps reach
# all.
STEPS = 3
AT_ONCE = 500


@dataclass(frozen=True)
class Kept:
    """An entry as it stands in the ledger."""

    chain: str
    n: int
    hash: str
    text: str


def chains_of(bearing: Bearing) -> list[str]:
    """The bearing's own chain, those of positions joined into it, then those of the machines that stood on
    its place and on theirs: what was signed there before is signed there still.
    """
    gone = joined_into(bearing)
    places = [bearing.place_id, *Bearing.objects.filter(pk__in=gone).values_list("place", flat=True)]
    machines = Installation.objects.filter(place__in=places).values_list("machine_id", flat=True)
    joined = sorted(f"bearing:{pk}" for pk in gone)
    return [f"bearing:{bearing.pk}", *joined, *sorted({f"pump:{machine}" for machine in machines})]


def heads_of(chains: Sequence[str]) -> dict[str, int]:
    """How many entries each chain has now."""
    return dict(Chain.objects.filter(id__in=chains).values_list("id", "n"))


def whole(chains: Sequence[str], until: dict[str, int]) -> list[Kept]:
    """All entries of chains up to a number each, in the order of the chains and their numbers."""
    rows = Entry.objects.filter(chain__in=chains).order_by("n").values_list("chain", "n", "hash", "text")
    kept = [Kept(*row) for row in rows if row[1] <= until.get(row[0], 0)]
    return sorted(kept, key=lambda one: (chains.index(one.chain), one.n))


def quoted(own: Iterable[Kept], chains: Sequence[str], bearing: Bearing) -> list[Kept]:
    """Entries of other chains that a bearing's entries refer to, with what bears on it: settings,
    calibrations, and the roles, given and ended, of whoever the entries name.

    Entries of other bearings and pumps are left out: they are no part of this story.
    """
    texts = [one.text for one in own]
    rows = Setting.objects.filter(Q(site=bearing.place.site_id) | Q(site__isnull=True))
    wanted = _ids(texts) | set(rows.values_list("pk", flat=True))
    roles = Role._base_manager.filter(Q(site=bearing.place.site_id) | Q(site=None), person__in=sorted(wanted))
    wanted |= set(roles.values_list("pk", flat=True))
    gauges = Calibration.objects.filter(instrument__in=wanted).values_list("pk", flat=True)
    wanted |= set(gauges)
    wanted |= set(Attachment.objects.filter(about__in=list(gauges)).values_list("pk", flat=True))
    found: dict[tuple[str, int], Kept] = {}
    asked: set[UUID] = set()
    for _ in range(STEPS):
        new = _entries(wanted - asked, chains)
        asked |= wanted
        found |= {(one.chain, one.n): one for one in new}
        wanted = _ids(one.text for one in new)
    return [found[key] for key in sorted(found)]


def _ids(texts: Iterable[str]) -> set[UUID]:
    return {UUID(word) for text in texts for word in _ID.findall(text)}


def _entries(things: set[UUID], chains: Sequence[str]) -> list[Kept]:
    ids, kept = sorted(things), []
    for start in range(0, len(ids), AT_ONCE):
        rows = Entry.objects.filter(thing__in=ids[start : start + AT_ONCE]).exclude(chain__in=chains)
        rows = rows.exclude(chain__startswith="bearing:").exclude(chain__startswith="pump:")
        kept += [Kept(*row) for row in rows.values_list("chain", "n", "hash", "text")]
    return kept


def digest_of(entries: Iterable[Kept]) -> str:
    """SHA-256 over the sorted hashes of entries: what the bearing's own chain keeps of those quoted from
    others.
    """
    return sha256("".join(sorted(one.hash for one in entries)))


def people_in(entries: Iterable[Kept], by: UUID) -> list[Person]:
    """The persons that entries name by their inner ids, and who asks."""
    ids = sorted(_ids(one.text for one in entries) | {by})
    found: list[Person] = []
    for start in range(0, len(ids), AT_ONCE):
        found += Person.objects.filter(pk__in=ids[start : start + AT_ONCE])
    return sorted(found, key=lambda person: (str(person), person.pk))


def attachments_in(entries: Iterable[Kept]) -> list[Attachment]:
    """Photos, certificates and documents whose own entries are among these."""
    things = {
        UUID(word) for one in entries if '"kind":"attachment"' in one.text for word in _ID.findall(one.text)
    }
    return list(Attachment.objects.filter(pk__in=things).order_by(*IN_ORDER))
