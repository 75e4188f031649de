"""What an engineer says to set or lift one limit."""

import datetime as dt
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django import forms

from fleet import units
from fleet.models import Authority, Bearing, LimitUse
from inspections.forms.correcting import REASON
from inspections.limits.doubts import own_unit
from inspections.models import Basis
from inspections.story.entry_words import LIMITS
from inspections.visits.forms import UNITS, number_as_typed


class LimitFields(forms.Form):
    """What is said of a limit, of one bearing or of many."""

    use = forms.ChoiceField(
        label="Which limit",
        choices=[(use, LIMITS[use]) for use in LimitUse.values],
        error_messages={"invalid_choice": "Choose one of the limits listed."},
    )
    value = forms.CharField(
        label="Value",
        max_length=32,
        required=False,
        help_text="Empty: the limit is lifted from that day on.",
    )
    unit = forms.ChoiceField(label="Unit", required=False, choices=[("", "choose"), *UNITS])
    basis = forms.ChoiceField(
        label="The value is", choices=[("diametral", "the whole clearance"), ("radial", "radial, half of it")]
    )
    authority = forms.ChoiceField(
        label="Who says so", choices=[("", "not said"), *Authority.choices], required=False
    )
    document = forms.CharField(
        label="Where it is written",
        max_length=120,
        required=False,
        help_text="Book, drawing or letter, and page.",
    )
    from_on = forms.DateField(
        label="From",
        required=False,
        help_text="Empty: always. What was measured before keeps the limit of its day.",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is no day. Write it as 2026-03-09."},
    )
    reason = REASON

    def clean_value(self) -> str:
        return number_as_typed(self.cleaned_data["value"])

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("value") and not said.get("unit"):
            self.add_error("unit", "Say the unit the limit is written in. It is never assumed.")
        return said


class LimitForm(LimitFields):
    """One limit from a day on. `id` is the new entry's own, `seen` what the page showed of this bearing's
    limits.
    """

    id = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.IntegerField(widget=forms.HiddenInput)

    def facts(self) -> dict[str, Any]:
        """What was said, by the names that `limiting.set_limit` takes."""
        said = dict(self.cleaned_data)
        typed = said.pop("value")
        number: Decimal | None = units.parse_number(typed, decimal_comma="," in typed) if typed else None
        return said | {"seen_before": said.pop("seen"), "value": number, "typed": typed}


def first_values(bearing: Bearing, seen: int, today: dt.date, asked: Any) -> dict[str, Any]:
    """What the form shows first: what the address asks to fill in, and the unit this bearing is read in, if
    any.
    """
    words = {name: asked.get(name, "")[:120] for name in ("value", "authority", "document")}
    use = asked.get("use", "")
    return words | {
        "id": uuid4(),
        "seen": seen,
        "use": use if use in LimitUse.values else LimitUse.IN_SERVICE_MAX,
        "unit": asked.get("unit") or own_unit(bearing),
        "basis": Basis.DIAMETRAL,
        "from_on": today,
    }


class ManyLimitsForm(LimitFields):
    """One limit for many bearings; it is set, not lifted."""

    value = forms.CharField(
        label="Value",
        max_length=32,
        error_messages={
            "required": "Give the limit. One that holds no longer is lifted on the bearing's own page."
        },
    )
    basis = forms.ChoiceField(
        label="The value is",
        choices=[("", "choose"), ("diametral", "the whole clearance"), ("radial", "radial, half of it")],
        error_messages={
            "required": "Say whether it is the whole clearance or half of it. It is never assumed."
        },
    )
    from_on = forms.DateField(
        label="From",
        required=False,
        help_text="Empty: always.",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "This is no day. Write it as 2026-03-09."},
    )

    def facts(self) -> dict[str, Any]:
        """What was said, by the names that `limits_of_many.set_for_many` takes, with the
        value as a number.
        """
        said = dict(self.cleaned_data)
        typed = said.pop("value")
        return said | {"value": units.parse_number(typed, decimal_comma="," in typed), "typed": typed}
