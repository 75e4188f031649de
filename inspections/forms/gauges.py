"""The forms of a gauge: its label and method, and what a calibration found."""

import uuid
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from fleet import units
from fleet.measuring_methods import or_none

A_DAY = {"invalid": "This is no day. Write it as 2026-03-09."}


def _day(label: str, **more: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages=A_DAY | more.pop("said", {}),
        **more,
    )


class LengthOff(forms.CharField):
    """A small length with its unit and a sign, as um; None where nothing was typed."""

    def clean(self, value: Any) -> Decimal | None:
        typed = str(super().clean(value) or "").strip()
        if not typed:
            return None
        try:
            number, unit = units.split_unit(typed)
            if unit is None:
                raise ValidationError(f"{units.shown(typed)} has no unit. Write it with one: 0.4 mil, 10 um.")
            length = units.parse_number(number, decimal_comma="," in number)
            return units.to_um(length, unit).quantize(Decimal("0.01"))
        except units.Unreadable as fault:
            raise ValidationError(str(fault)) from fault


class GaugeForm(forms.Form):
    """A gauge that is not in the list yet."""

    label = forms.CharField(
        label="What stands on it",
        max_length=80,
        help_text="Its number or name, as mechanics give it with a reading.",
        error_messages={"required": "Give the number or name that stands on the gauge."},
    )
    method = forms.ChoiceField(label="What it measures by", choices=or_none("not said"), required=False)


class CalibrationForm(forms.Form):
    """What a check of a gauge found."""

    id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    on = _day("Checked on", said={"required": "Give the day on which the gauge was checked."})
    found = forms.ChoiceField(
        label="Found",
        choices=[
            ("fit", "fit for use"),
            ("wrong", "wrong: its readings since the last good check are in doubt"),
        ],
        initial="fit",
    )
    read_over = LengthOff(
        label="It read too much by",
        required=False,
        max_length=40,
        help_text=(
            "As found, before it was set: 0.4 mil, 10 um, -0.01 mm (below 0: too little). Empty: not"
            " measured."
        ),
    )
    due_on = _day("Next check due", required=False, help_text="Empty: no day is set.")
    note = forms.CharField(
        label="Remark",
        required=False,
        max_length=500,
        help_text="What was found, by whom it was checked, the certificate's number.",
    )
    certificate = forms.FileField(
        label="Certificate", required=False, help_text="PDF, JPEG or PNG, at most 12 MB.", max_length=200
    )
