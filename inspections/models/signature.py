"""Who is asked to sign for a visit, and who signed: each signature by its own person, bound to the entries it
is for.
"""

from django.db import models

from fleet.models import Person, Recorded
from inspections.models.visit import Visit


class SignatureAsked(Recorded):
    """A second person named by whoever recorded. It is no signature: it awaits that person's own.

    A request keeps its code for life: the code leads to the visit and gives no right.
    """

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="signatures_asked")
    person = models.ForeignKey(Person, models.PROTECT, related_name="+")
    code = models.CharField(
        max_length=8, unique=True, help_text="short, to be typed on a device of the person's own"
    )
    claimed = models.BooleanField(
        default=False, help_text="a device without network says that this person checked"
    )


class Signature(Recorded):
    """One person's own signature for a visit: what it means, and where the chains it is for ended then."""

    class Meaning(models.TextChoices):
        MEASURED = "measured", "measured"
        OWN_READING = "own_reading", "checked by a reading of their own"
        WITNESSED = "witnessed", "checked as a witness of the measurement"
        CONFIRMED = "confirmed", "confirmed to have checked, as a device without network said"
        APPROVED = "approved", "approved"

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="signatures")
    person = models.ForeignKey(Person, models.PROTECT, related_name="+")
    meaning = models.CharField(max_length=12, choices=Meaning.choices)
    signs = models.JSONField(help_text="[{chain, n, hash}]: the last entry of every chain of the visit")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(person=models.F("recorded_by")),
                name="signature_by_its_own_person",
                violation_error_message=(
                    "A signature is given by its own person, signed in. Nobody signs for another."
                ),
            )
        ]
