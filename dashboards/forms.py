"""The forms at an outage plan: a change by hand, an acceptance with its reason, a deferral with all that it
needs.
"""

from django import forms

from fleet import units
from inspections.deferrals.levels import MOST_CHECK_DAYS
from inspections.visits.forms import UNITS


def _a_day(label: str, missing: str, help_text: str = "the day, such as 2027-06-30") -> forms.DateField:
    """A day as these forms ask for it; `missing`: what is said where none is given."""
    return forms.DateField(
        label=label,
        help_text=help_text,
        widget=forms.TextInput(attrs={"class": "short", "inputmode": "numeric"}),
        input_formats=["%Y-%m-%d"],
        error_messages={"required": missing, "invalid": "This is no day; write it as 2027-06-30."},
    )


class ChangeForm(forms.Form):
    """A change as it comes from any of the plan's pages; the act says what it lacks."""

    what = forms.CharField(max_length=20)
    bearing = forms.CharField(max_length=160, required=False)
    job = forms.CharField(
        max_length=160, required=False
    )  # work and outage in one choice: "replace|outage 2026"
    outage = forms.CharField(max_length=80, required=False)
    days = forms.CharField(max_length=8, required=False)
    hours = forms.CharField(max_length=12, required=False)
    value = forms.CharField(max_length=40, required=False)
    unit = forms.ChoiceField(choices=UNITS, required=False)
    why = forms.CharField(max_length=300, required=False)
    number = forms.IntegerField(required=False, min_value=-1, max_value=10_000)
    name = forms.CharField(max_length=80, required=False)

    def said(self) -> dict[str, str]:
        """What an act on the plan takes of it; a clearance in um."""
        given = self.cleaned_data
        action, _, outage = given["job"].partition("|")
        found = {
            "bearing": given["bearing"],
            "action": action,
            "outage": outage or given["outage"],
            "days": given["days"],
            "hours": given["hours"],
            "why": given["why"],
            "um": "",
        }
        if given["value"]:
            typed = given["value"].strip()
            number = units.parse_number(typed, decimal_comma="," in typed)
            found["um"] = str(units.to_um(number, given["unit"] or "um"))
        return found


class RunOnForm(forms.Form):
    """Why, until when, and the interim checks: person, interval, value at which it is stopped."""

    reason = forms.CharField(
        label="Why it is put off",
        max_length=500,
        help_text="a sentence for whoever has to agree",
        error_messages={"required": "Say why it is put off."},
    )
    until_on = _a_day(
        "Until",
        "Give the day on which it expires.",
        "the day on which this expires, such as 2027-06-30; the work then stands in the plan again",
    )
    late_why = forms.CharField(
        label="Why it may outlast the early date, where it does",
        max_length=300,
        required=False,
        help_text="the day by which 1 in 10 would have passed the maximum",
    )
    check_by = forms.CharField(
        label="Interim checks: who",
        max_length=120,
        error_messages={"required": "Name the person who makes the interim checks."},
    )
    check_every_days = forms.IntegerField(
        label="Every how many days",
        min_value=1,
        max_value=MOST_CHECK_DAYS,
        error_messages={"required": "Say every how many days it is checked."},
    )
    stop_at = forms.CharField(
        label="At what value it is stopped",
        max_length=120,
        help_text="with its quantity and unit: bearing metal 95 °C, vibration 7 mm/s, clearance 0.40 mm",
        error_messages={"required": "Say at what value it is stopped."},
    )


class DeferralForm(RunOnForm):
    """The same of one outage's job."""

    outage = forms.CharField(label="Not in this outage", max_length=80)
    field_order = ("outage",)


class OpenNowForm(forms.Form):
    """Why and when a pump is opened outside an outage."""

    opens_on = _a_day("Opened on", "Give the day on which it is opened.")
    reason = forms.CharField(
        label="Why it is opened now",
        max_length=500,
        help_text="a sentence for whoever has to agree",
        error_messages={"required": "Say why it is opened outside an outage."},
    )


class CheckForm(forms.Form):
    """An interim check of what is put off: what was read, on which day."""

    value = forms.CharField(
        label="What was read",
        max_length=200,
        help_text="with its unit, such as bearing metal 88 °C",
        error_messages={"required": "Say what was read."},
    )
    on = _a_day("Checked on", "Give the day of the check.")
