"""The forms at an outage plan: a change by hand, an acceptance with its reason, a deferral with all that it needs."""

from django import forms

from fleet import units
from fleet.models import Role
from inspections.visits.forms import UNITS

# Roles that can answer for a deferral; who only reads or keeps accounts cannot.
OWNERS = [(r.value, r.value) for r in (Role.Word.ENGINEER, Role.Word.PLANNER, Role.Word.FOREMAN)]


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


class DeferralForm(forms.Form):
    """Who answers, why, until when, what is checked meanwhile."""

    outage = forms.CharField(label="Not in this outage", max_length=80)
    owner_role = forms.ChoiceField(label="Who answers for it", choices=OWNERS)
    reason = forms.CharField(
        label="Why it is put off", max_length=500, error_messages={"required": "Say why it is put off."}
    )
    until_on = forms.DateField(
        label="Until",
        help_text="the day on which this expires, such as 2027-06-30",
        widget=forms.TextInput(attrs={"class": "short", "inputmode": "numeric"}),
        input_formats=["%Y-%m-%d"],
        error_messages={
            "required": "Give the day on which it expires.",
            "invalid": "This is no day; write it as 2027-06-30.",
        },
    )
    extra_checks = forms.CharField(
        label="Checked meanwhile",
        max_length=300,
        help_text="such as: oil sample and temperature every week",
        error_messages={"required": "Say what is checked meanwhile."},
    )
