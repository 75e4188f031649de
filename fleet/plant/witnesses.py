"""A seal taken out of the house: by whom, how, and when stands in the record, so that a page can say when it
was last witnessed.
"""

from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction

from fleet.ledger.outside_seals import DOWNLOADED, MAILED, TAKEN, paper_of
from fleet.ledger.seal import seal_now
from fleet.ledger.writing import Fact, write
from fleet.models import Seal
from fleet.plant.acts import PLANT, Refused


@transaction.atomic
def take_along(*, by: UUID, seal: Seal | None = None) -> tuple[Seal, str]:
    """A seal to be carried out, made now where none is given; that it was taken, and by whom, is recorded."""
    if seal is None:
        seal, _ = seal_now(by=by)
    _tell(seal, DOWNLOADED, by)
    return seal, paper_of(seal)


def mail(*, by: UUID) -> tuple[Seal, list[str]]:
    """Seal now and send the seal to the addresses that the plant has set; recorded once the mail is taken
    over.

    Raises
    ------
    Refused
        where no address is set, and where no server took the mail; the seal stays in the record then, not
        taken out.
    """
    to = list(settings.SEAL_MAIL_TO)
    if not to:
        raise Refused("No address is set. Set SEAL_MAIL_TO to those outside the site who shall keep seals.")
    seal, _ = seal_now(by=by)
    letter = EmailMessage(
        subject=f"Seal no. {seal.n} of {seal.sealed_at:%Y-%m-%d %H:%M} UTC of the bearing record",
        body=f"""Keep this seal where nobody who could change the record can reach it.

Seal no. {seal.n}, {seal.sealed_at:%Y-%m-%d %H:%M} UTC
root {seal.root}
hash {seal.hash}

With the file beside this letter anybody can later see whether the record still holds what was sealed: on its
page "Proof", with `manage.py verify_records --seal FILE`, or with the checker in a bundle:
python verify.py --seal FILE.
It holds no reading and no name: numbers of chains and hashes alone.
""",
        from_email=settings.MAIL_FROM,
        to=to,
    )
    letter.attach(f"seal-{seal.n}.json", paper_of(seal), "application/json")
    try:
        letter.send()
    except OSError as trouble:  # smtplib's own errors are among these
        raise Refused(
            f"Seal no. {seal.n} is made, and no mail server took it along ({type(trouble).__name__}:"
            f" {trouble}). See to MAIL_HOST and MAIL_PORT and ask again, or take it along from the page."
        ) from trouble
    _tell(seal, MAILED, by)
    return seal, to


def _tell(seal: Seal, how: str, by: UUID) -> None:
    write([Fact(PLANT, TAKEN, body={"seal": seal.n, "hash": seal.hash, "how": how})], by=by)
