"""What an engineer may put right in a stored reading, always with a reason."""

import datetime as dt
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms

from fleet import units
from fleet.measuring_methods import or_none
from inspections.models import Basis, Reading, Stage
from inspections.records.facts import read_station
from inspections.visits.forms import UNITS

REASON = forms.CharField(
    label="Why",
    max_length=300,
    help_text="In a few words; it stands beside both versions for good.",
    error_messages={"required": "Say in a few words why the record changes."},
)


class CorrectForm(forms.Form):
    """A reading as it should have been recorded. `id` is the new entry's own, `seen` what the page showed of
    the old.
    """

    id = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput)
    value = forms.CharField(
        label="Value", max_length=40, error_messages={"required": "Give the value as it should read."}
    )
    unit = forms.ChoiceField(label="Unit", choices=UNITS)
    basis = forms.ChoiceField(label="Basis", choices=Basis.choices)
    on = forms.DateField(
        label="Day measured",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is no day. Write it as 2026-03-09."},
    )
    stage = forms.ChoiceField(label="Stage", choices=Stage.choices)
    method = forms.ChoiceField(label="Method", choices=or_none("not known"), required=False)
    station = forms.CharField(
        label="Station",
        required=False,
        max_length=8,
        help_text="End and clock such as in-12, out-6 or mid; empty: vertical, end not known.",
    )
    reason = REASON

    def clean_value(self) -> str:
        typed = self.cleaned_data["value"].strip()
        try:
            units.parse_measured(typed, decimal_comma="," in typed)
        except units.Unreadable as fault:
            raise forms.ValidationError(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
        return typed

    def clean_station(self) -> str:
        typed = self.cleaned_data["station"]
        if read_station(typed) is None:
            raise forms.ValidationError(
                f"“{typed}” is no station; write end and clock as in-12, out-6, mid, or leave it empty."
            )
        return typed

    def changes(self, reading: Reading) -> dict[str, Any]:
        """What differs from the reading, by the names that `recording.correct_reading` takes."""
        said = self.cleaned_data
        end, clock = read_station(said["station"]) or ("", None)
        wanted: dict[str, Any] = {
            "basis": said["basis"],
            "on": said["on"],
            "stage": said["stage"],
            "method": said["method"],
            "end": end,
            "clock": clock,
        }
        return {name: value for name, value in wanted.items() if getattr(reading, name) != value}


class ReasonForm(forms.Form):
    """A reason alone: for taking back, setting apart and putting back."""

    reason = REASON
    seen = forms.IntegerField(widget=forms.HiddenInput)


class JoinForm(ReasonForm):
    """Which record stands for both."""

    standing = forms.TypedChoiceField(
        label="The record that stands",
        coerce=UUID,
        help_text="This one is kept to be read, marked as the same thing, and counts no more.",
        error_messages={"required": "Choose the record that stands for both."},
    )
    field_order = ("standing", "reason", "seen")

    def __init__(self, *args: Any, among: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["standing"].choices = [("", "choose"), *among]  # type: ignore[attr-defined]


class MergeForm(forms.Form):
    """The position that stays, by the names in use or older ones, and why the two are one."""

    other_pump = forms.CharField(
        label="Pump that stays",
        max_length=40,
        error_messages={"required": "Give the tag of the pump that stays."},
    )
    other_position = forms.CharField(
        label="Position that stays",
        max_length=40,
        error_messages={"required": "Give the position that stays, such as DE."},
    )
    reason = forms.CharField(
        label="Why the two are one",
        max_length=300,
        required=False,
        help_text="It stands beside everything that moves, for good.",
    )


def as_recorded(reading: Reading, seen: int, new_id: Any) -> dict[str, Any]:
    """What the form shows first: the reading as it stands."""
    station = "-".join(str(part) for part in (reading.end, reading.clock) if part)
    on: dt.date = reading.on
    return {
        "id": new_id,
        "seen": seen,
        "value": reading.typed,
        "unit": reading.unit,
        "basis": reading.basis,
        "on": on,
        "stage": reading.stage,
        "method": reading.method,
        "station": station,
    }
