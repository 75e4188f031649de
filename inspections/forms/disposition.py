"""What an engineer says to sign a disposition."""

from django import forms

from inspections.models import Disposition
from inspections.visits.forms import new_id


class DispositionForm(forms.Form):
    """`id` is the new entry's own: sent twice it is stored once."""

    id = forms.UUIDField(widget=forms.HiddenInput, initial=new_id, required=False)
    answer = forms.ChoiceField(label="Disposition", choices=Disposition.Answer.choices)
    checked = forms.CharField(
        label="What was checked, and how",
        max_length=300,
        help_text="Looked at, dye penetrant, ultrasonic, measured again by whom.",
    )
    why = forms.CharField(label="Why", max_length=500, required=False)
    check_by = forms.CharField(label="Interim checks: who", max_length=120, required=False)
    check_every_days = forms.IntegerField(
        label="Every how many days", min_value=1, max_value=3650, required=False
    )
    stop_at = forms.CharField(
        label="At what value it is stopped",
        max_length=120,
        required=False,
        help_text="With its quantity and unit: temperature, vibration, clearance.",
    )
    no_checks_why = forms.CharField(
        label="Or why no interim checks are needed", max_length=300, required=False
    )
    expires_on = forms.DateField(
        label="Holds until",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is no day. Write it as 2026-03-09."},
    )
