"""The acts of signing for a visit: somebody is asked, and signs for themselves, bound to the entries that
stand then.
"""

import secrets
import uuid
from uuid import UUID

from django.db import transaction
from django.db.models import Q

from fleet.access import MAY, may
from fleet.ledger.canonical import canonical, sha256
from fleet.ledger.writing import Fact, write
from fleet.models import Account, Person, Role, Site
from fleet.models.ledger import Chain
from fleet.web.passwords import ALPHABET
from inspections.models import Reading, Signature, SignatureAsked, Visit
from inspections.records.openings import NotRecorded
from inspections.visits.joined_visits import continued_by, earlier_ids, standing_now

Meaning = Signature.Meaning
CHECKS = (Meaning.OWN_READING, Meaning.WITNESSED, Meaning.CONFIRMED)
CODE_LETTERS = 6
# An entry of a chain as a signature is bound to it: its chain, number and hash.
Bound = list[dict[str, object]]


def signers_at(site: Site) -> list[Person]:
    """Who may sign at a site: an account that is open, and a role that records there."""
    roles = Role.objects.standing().filter(Q(site=site) | Q(site=None), role__in=MAY["sign"])
    open_accounts = Account.objects.filter(is_active=True, person__in=roles.values("person"))
    rows = Person.objects.filter(pk__in=open_accounts.values("person")).exclude(name="")
    return list(rows.order_by("folded"))


def asking(visit: Visit, person: UUID, *, claimed: bool = False) -> Fact:
    """The request to a person, as a fact to be written."""
    row = SignatureAsked(
        id=uuid.uuid4(), visit_id=visit.pk, person_id=person, code=_new_code(), claimed=claimed
    )
    return Fact(_pump(visit), "signature_asked", row)


def ask_once(*, visit: Visit, person: UUID, by: UUID, claimed: bool) -> None:
    """Ask a person whom a reading names as checking; nobody is asked twice, nor who could not sign."""
    if answered_or_asked(visit, person):
        return
    if any(signer.pk == person for signer in signers_at(visit.place.site)):
        write([asking(visit, person, claimed=claimed)], by=by)


def answered_or_asked(visit: Visit, person: UUID) -> bool:
    """Whether a person was asked to sign for a visit, or has signed as checking it."""
    ids = earlier_ids(visit)
    asked = SignatureAsked.objects.standing().filter(visit__in=ids, person=person)
    given = Signature.objects.standing().filter(visit__in=ids, person=person, meaning__in=CHECKS)
    return asked.exists() or given.exists()


def asked_of(person: UUID, place: UUID) -> list[Visit]:
    """The visits of a pump that a person is asked to sign for and has not; a request goes with its visit
    through every join, and so does its answer.
    """
    stood_here_or_moved = Q(visit__place=place) | Q(visit__withdrawn_by__isnull=False)
    rows = SignatureAsked.objects.standing().filter(stood_here_or_moved, person=person)
    asked = [row.visit for row in rows.select_related("visit").order_by("-entry_n")]
    stands = {visit.pk: visit for visit in standing_now(asked).values() if visit.place_id == place}
    counts_for = continued_by(stands.values())
    given = Signature.objects.standing().filter(visit__in=counts_for, person=person, meaning__in=CHECKS)
    answered = {pk for visit in given.values_list("visit", flat=True) for pk in counts_for[visit]}
    return [visit for pk, visit in stands.items() if pk not in answered]


def must_be_askable(visit: Visit, person: UUID | None, by: UUID) -> None:
    """Refuse to ask whoever could not give a second signature.

    Raises
    ------
    NotRecorded
        for nobody, for whoever asks, for an unknown person, and for one who cannot sign in and record at the
        site.
    """
    if person is None or person == by:
        raise NotRecorded("The second signature must be another person's. Choose who is asked for it.")
    able = signers_at(visit.place.site)
    if any(signer.pk == person for signer in able):
        return
    known = Person.objects.filter(pk=person).exclude(name="").first()
    names = ", ".join(signer.name for signer in able if signer.pk != by) or "nobody yet"
    why = (
        f"{known} has no open account with a role that records at {visit.place.site}"
        if known
        else "The person asked to check is not known here"
    )
    raise NotRecorded(f"{why}, and could not sign. Choose one of these: {names}.")


def bound_to(visit: Visit, *, locked: bool = False) -> Bound:
    """Where every chain of a visit ends now: its pump's, and those of the pump's bearings.

    Each entry's hash covers all entries before it on its chain. `locked`: nobody appends before the
    transaction ends.
    """
    bearings = visit.place.bearings.standing().values_list("pk", flat=True)
    names = [_pump(visit), *(f"bearing:{pk}" for pk in bearings)]
    chains = Chain.objects.filter(pk__in=names, n__gt=0).order_by("pk")
    rows = chains.select_for_update() if locked else chains
    return [{"chain": row.pk, "n": row.n, "hash": row.head} for row in rows]


def digest_of(bound: Bound) -> str:
    """One hash over what a signature is bound to: the page shows it, the signature holds it to the record."""
    return sha256(canonical(bound))


def meanings_for(visit: Visit, account: Account) -> list[Meaning]:
    """What a signature of this account could mean: what the record itself speaks against is not offered."""
    if not may(account, "sign", visit.place.site):
        return []
    who = account.person_id
    readings = list(Reading.objects.standing().filter(visit=visit).values_list("bearing", "measured_by"))
    own = {bearing for bearing, measured_by in readings if measured_by == who}
    compared = {bearing for bearing, measured_by in readings if measured_by != who and bearing in own}
    asked = SignatureAsked.objects.standing().filter(visit__in=earlier_ids(visit), person=who, claimed=True)
    offered = [
        (Meaning.OWN_READING, bool(compared)),
        (Meaning.WITNESSED, True),
        (Meaning.CONFIRMED, asked.exists()),
        (Meaning.MEASURED, bool(own)),
        (Meaning.APPROVED, may(account, "approve", visit.place.site)),
    ]
    return [meaning for meaning, fits in offered if fits]


@transaction.atomic
def sign(*, visit: Visit, account: Account, meaning: str, seen: str) -> Signature:
    """Sign for a visit as oneself.

    Parameters
    ----------
    seen : str
        `digest_of` what stood when the signer looked.

    Raises
    ------
    NotRecorded
        for a meaning that the record speaks against, and where the record changed since the signer looked.
    """
    bound, who = bound_to(visit, locked=True), account.person_id
    given = Signature.objects.standing().filter(visit=visit, person=who, meaning=meaning)
    again = next((row for row in given if digest_of(row.signs) == seen), None)
    if again is not None:
        return again
    if meaning not in meanings_for(visit, account):
        raise NotRecorded(
            "Choose what your signature means from those offered: the record knows no ground for another."
        )
    if digest_of(bound) != seen:
        raise NotRecorded("The record of this visit changed while you looked. Look at it again, then sign.")
    row = Signature(id=uuid.uuid4(), visit_id=visit.pk, person_id=who, meaning=meaning, signs=bound)
    write([Fact(_pump(visit), "signature", row)], by=who)
    return row


def read_code(typed: str) -> str:
    """A code as it is kept, whatever was typed between its letters."""
    return "".join(letter for letter in typed.casefold() if letter in ALPHABET)[:8]


def _new_code() -> str:
    while True:
        code = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LETTERS))
        if not SignatureAsked.objects.filter(code=code).exists():
            return code


def _pump(visit: Visit) -> str:
    return f"pump:{visit.machine_id}"
