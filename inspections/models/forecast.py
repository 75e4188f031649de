"""Stored forecasts: derived data, with what they used."""

import uuid

from django.db import models

from fleet.models import Bearing


class ForecastRun(models.Model):
    """One refit of the fleet: its parameters, the engine, and what it read. Its entry stands on the chain
    `plant`.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    as_of = models.DateField()
    made_at = models.DateTimeField()
    engine = models.CharField(max_length=20)
    parameters = models.JSONField()
    heads_digest = models.CharField(max_length=64)
    figures_hash = models.CharField(max_length=64)
    standing = models.BooleanField(
        default=False, help_text="of today's date, not of an earlier one asked for"
    )

    class Meta:
        indexes = [models.Index(fields=["-made_at"])]


class Forecast(models.Model):
    """One bearing's figures in one run; the columns are those of the forecast sheet."""

    id = models.BigAutoField(primary_key=True)
    run = models.ForeignKey(ForecastRun, models.CASCADE, related_name="forecasts")
    bearing = models.ForeignKey(Bearing, models.CASCADE, related_name="forecasts")
    inputs_digest = models.CharField(
        max_length=64, help_text="of the history, limits and outages that went in"
    )
    outcome = models.CharField(max_length=12)
    advice = models.CharField(max_length=8)
    first_on = models.DateField(
        null=True, help_text="the 1 in 10 date; 9999-12-31 is beyond the horizon, empty: no date"
    )
    figures = models.JSONField(help_text="all columns of the forecast sheet")
    judgement = models.JSONField(
        null=True, help_text="what stands for it, as its pages read it; empty: not judged"
    )
    judgement_digest = models.CharField(
        max_length=64, blank=True, help_text="of its pump's record, outages and choices that went in"
    )

    class Meta:
        constraints = [models.UniqueConstraint(fields=["run", "bearing"], name="one_forecast_per_run")]
        indexes = [models.Index(fields=["run", "first_on"])]
