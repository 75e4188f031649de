"""What stands behind a bearing's closing: the engineer's disposition, and the closing
itself with its list.
"""

from django.db import models

from fleet.models import Bearing, Recorded
from fleet.models.recorded import between
from inspections.models.visit import Visit


class Disposition(Recorded):
    """An engineer's signed answer to a word at the pump; `answers` names the rows of the table that it
    answers.
    """

    class Answer(models.TextChoices):
        USE_AS_IS = "use_as_is", "use as is"
        REPAIR = "repair", "repair"
        REPLACE = "replace", "replace"

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="dispositions")
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="dispositions")
    on = models.DateField()
    word = models.CharField(max_length=10, help_text="the word at the pump that it answers")
    answers = models.JSONField(default=list)
    answer = models.CharField(max_length=10, choices=Answer.choices)
    checked = models.CharField(max_length=300, help_text="what was checked, and how")
    why = models.CharField(max_length=500, blank=True)
    check_by = models.CharField(max_length=120, blank=True, help_text="who makes the interim checks")
    check_every_days = models.PositiveIntegerField(null=True, blank=True)
    stop_at = models.CharField(max_length=120, blank=True, help_text="the value at which it is stopped")
    no_checks_why = models.CharField(max_length=300, blank=True)
    expires_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            between(
                "check_every_days",
                1,
                3650,
                "disposition_interval",
                "Interim checks lie 1 to 3650 days apart.",
            )
        ]


class Closing(Recorded):
    """A bearing as a visit was closed over it: the word, what was decided, and the
    closing list as answered.
    """

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="closings")
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="closings")
    on = models.DateField()
    word = models.CharField(max_length=10)
    decided = models.CharField(max_length=10)
    why_word = models.CharField(max_length=500, blank=True, help_text="why the word was said")
    why = models.CharField(max_length=500, blank=True, help_text="why it was decided otherwise")
    without_disposition = models.BooleanField(
        default=False, help_text="closed against the word, and no engineer had signed"
    )
    answers = models.JSONField(default=list, help_text="the rows of the table that stood")
    items = models.JSONField(default=dict, help_text="the closing list: state and why by item")
