"""Dated names and other spellings of anything the plant names: an old name leads on."""

import re

from django.db import models

from fleet.models.recorded import Recorded
from fleet.models.site import Site


def folded(name: str) -> str:
    """A name as it is compared: small letters, single spaces, no space at the ends. Shown names stay as
    typed.
    """
    return re.sub(r"\s+", " ", name).strip().casefold()


class Name(Recorded):
    class Of(models.TextChoices):
        SITE = "site"
        PLACE = "place"
        BEARING = "bearing"
        WEAR_CLASS = "wear_class"
        INSTRUMENT = "instrument"
        METHOD = "method"

    of = models.CharField(max_length=12, choices=Of.choices)
    thing = models.UUIDField(db_index=True)
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True, related_name="names_used")
    text = models.CharField(max_length=120)
    folded = models.CharField(max_length=120, db_index=True)
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")
    spelling = models.BooleanField(default=False, help_text="another spelling, never shown as the name")

    def __str__(self) -> str:
        return self.text
