"""What the whole plant owns: instruments and their calibration, dated settings."""

import datetime
from collections.abc import Iterable
from typing import Any, Self
from uuid import UUID

from django.db import models

from fleet.models.recorded import Recorded, RecordedQuerySet
from fleet.models.site import Site


class Instrument(Recorded):
    label = models.CharField(max_length=80)
    folded = models.CharField(max_length=80, unique=True)
    method = models.CharField(max_length=40, blank=True)

    def __str__(self) -> str:
        return self.label


class Calibration(Recorded):
    instrument = models.ForeignKey(Instrument, models.PROTECT, related_name="calibrations")
    on = models.DateField()
    due_on = models.DateField(null=True, blank=True)
    found_fit = models.BooleanField(default=True)
    note = models.CharField(max_length=500, blank=True)
    read_over_um = models.DecimalField(
        max_digits=6,
        decimal_places=2,
        null=True,
        blank=True,
        help_text=(
            "what it read too much when it was checked, um, before it was set; below 0: too little; empty:"
            " not measured"
        ),
    )


class SettingQuerySet(RecordedQuerySet):
    def in_force(self, name: str, site: Site | None, day: datetime.date) -> Any:
        """The value of a setting at a site on a day: the site's own latest, else the plant's; None where none
        is set.
        """
        return SettingsRead(self.filter(name=name).of(site)).in_force(name, site, day)

    def of(self, site: Site | UUID | None) -> Self:
        """The standing settings of a site and of the whole plant."""
        return self.standing().filter(models.Q(site=site) | models.Q(site__isnull=True))


class SettingsRead:
    """Settings read once, for who asks for several: the same answers as from the database."""

    def __init__(self, rows: Iterable["Setting"]) -> None:
        self.rows = list(rows)

    def in_force(self, name: str, site: Site | None, day: datetime.date) -> Any:
        """As `SettingQuerySet.in_force`."""
        sites = (None,) if site is None else (None, site.pk)
        held = (
            row
            for row in self.rows
            if row.name == name and row.site_id in sites and (row.from_on is None or row.from_on <= day)
        )
        best = max(
            held, key=lambda row: (row.site_id is not None, str(row.from_on or ""), row.entry_n), default=None
        )
        return best.value if best else None


class Setting(Recorded):
    """A dated choice of the plant: accepted risk, usual outage interval, method spreads, criteria, ..."""

    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True)
    name = models.CharField(max_length=60)
    value = models.JSONField(default=dict, help_text="what is chosen; empty: nothing of it")
    from_on = models.DateField(null=True, blank=True)

    objects = SettingQuerySet.as_manager()
