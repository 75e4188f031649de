"""A database of an earlier day is migrated as a plant does it, and looked at."""

from dataclasses import dataclass, field

from django.core.management import call_command
from django.test import Client

from fleet.ledger.outside_seals import compared, paper_of, read_paper
from fleet.ledger.verify import verify
from fleet.models import Account, Bearing, Entry, Person, Seal
from fleet.web.bearing_addresses import bearing_address
from tests import makers
from tests.upgrades.states import State


@dataclass
class Found:
    """What a look found: words for the table, and a sentence for each fault."""

    words: str = ""
    faults: list[str] = field(default_factory=list)


def upgraded(state: State, *, pages: bool = True) -> Found:
    """Migrate what was laid back, then hold it to its seal, its entries, its pages and one new reading."""
    papers = [paper_of(seal) for seal in Seal.objects.order_by("n")]
    hashes = set(Entry.objects.values_list("hash", flat=True))
    call_command("migrate", verbosity=0)
    found = Found()
    for number, paper in enumerate(papers, 1):
        found.faults += compared(f"seal {number} of that day", read_paper(paper, "the seal"))
    if lost := hashes - set(Entry.objects.values_list("hash", flat=True)):
        found.faults.append(f"{len(lost)} entries of that day are gone.")
    if pages:
        _look_at_pages(found)
    n = Entry.objects.count()
    makers.a_reading(bearing=Bearing.objects.standing().order_by("entry_n").first(), value="0.222")
    _hold_record(found)
    found.words = f"{n:4} entries, {n - len(hashes):2} added by the upgrade, {len(papers)} seals"
    found.faults = [f"{state.path.stem}: {fault}" for fault in found.faults]
    return found


def _hold_record(found: Found) -> None:
    """The check of the whole record, and what the upgrade itself has to leave behind."""
    found.faults += verify().faults
    named = Person.objects.exclude(name="").filter(salt="").count()
    if named:
        found.faults.append(f"{named} names have no salt, so no entry can commit to them.")


def _look_at_pages(found: Found) -> None:
    """The engineer of that day sees the bearing's page and its history."""
    client = Client()
    client.force_login(Account.objects.get(username="engineer"))
    for bearing in Bearing.objects.standing().select_related("place"):
        for page in ("bearing", "bearing-history"):
            answer = client.get(bearing_address(bearing, page))
            if answer.status_code != 200:
                found.faults.append(f"The page {page} of {bearing} answers {answer.status_code}.")
