"""The forms at the pump: few fields, each with what is allowed; nothing asked that the site knows."""

import datetime as dt
import re
import uuid
from typing import Any

from django import forms
from django.utils.text import capfirst

from fleet import units
from fleet.end_words import END_WORDS
from fleet.measuring_methods import offered
from fleet.models import Half
from inspections.models import EFFECTS, Effect, EventKind, NotMeasured, Reason, Visit
from inspections.story import measuring_conditions

UNITS = [("mm", "mm"), ("um", "µm"), ("thou", "thou (0.001 in)"), ("mil", "mil (0.001 in)"), ("in", "in")]
# What is done at an open bearing and parts as found from as left, beside a scrape.
WORKS = [
    (EventKind.SHELL_CHANGE, "New shell"),
    (EventKind.REBABBITT, "Rebabbitted"),
    (EventKind.SHIM_CHANGE, "Shims changed"),
    (EventKind.JOURNAL_REGRIND, "Journal reground"),
    (EventKind.ALIGNMENT, "Alignment corrected"),
    (EventKind.OIL, "Oil changed"),
]


def number_as_typed(text: str, *, about: str = "") -> str:
    """The text without spaces around it, where it is empty or a number; refused in a sentence that begins
    with `about`.
    """
    typed = text.strip()
    if typed:
        try:
            units.parse_number(typed, decimal_comma="," in typed)
        except units.Unreadable as fault:
            said = f"{about}{fault}"
            raise forms.ValidationError(f"{said[:1].upper()}{said[1:]}.") from None
    return typed


def _day_field(label: str, hint: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        help_text=hint,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Give the day as year, month, day, such as 2026-03-09."},
    )


class NamesForm(forms.Form):
    """A name: tapped, chosen from the list, or typed."""

    measured_by = forms.ChoiceField(label="Who measures", required=False)
    listed = forms.ChoiceField(label="Another name of this site", required=False)
    new_name = forms.CharField(label="A name that is not listed", required=False, max_length=120)

    def __init__(self, *args: Any, people: list, at_once: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [(str(p.pk), p.name) for p in people]
        self.fields["measured_by"].choices = [("", "nobody"), *names]  # type: ignore[attr-defined]
        self.fields["listed"].choices = [("", "choose"), *names[at_once:]]  # type: ignore[attr-defined]
        self.at_once = names[: at_once or None]


class StartForm(NamesForm):
    """Who measures, and (for a new visit) why it is open; the day where a paper sheet is typed in."""

    why = forms.ChoiceField(label="Why it is open", required=False)
    job = forms.CharField(label="Work order, permit (if you like)", required=False, max_length=80)
    procedure = forms.CharField(label="Procedure (if you like)", required=False, max_length=120)
    revision = forms.CharField(label="Its revision", required=False, max_length=40)
    measured_on = _day_field(
        "From a paper sheet: measured on", "Leave it empty for what is measured today. Both days are kept."
    )

    def __init__(self, *args: Any, today: dt.date, why_known: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today
        choices = [(value, str(label)) for value, label in Visit.Why.choices if value]
        self.fields["why"].choices = [("", "not said"), *choices]  # type: ignore[attr-defined]
        self.fields["why"].initial = why_known

    def clean_measured_on(self) -> dt.date | None:
        return not_ahead(self.cleaned_data["measured_on"], self.today)


class PeopleForm(NamesForm):
    """A name for one part in a visit, or the day that what follows was measured on."""

    on = _day_field("What follows was measured on", "Empty: today. For a paper sheet of several days.")

    def __init__(self, *args: Any, today: dt.date, opened_on: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today, self.opened_on = today, opened_on

    def clean_on(self) -> dt.date | None:
        on = not_ahead(self.cleaned_data["on"], self.today)
        if on is not None and on < self.opened_on:
            raise forms.ValidationError(
                f"This visit was opened on {self.opened_on}; give that day or a later one."
            )
        return on


def not_ahead(on: dt.date | None, today: dt.date) -> dt.date | None:
    """A day of measuring, which cannot lie ahead."""
    if on is not None and on > today:
        raise forms.ValidationError(f"{on} lies ahead; today is {today}. Give the day it was measured.")
    return on


class ReadingForm(forms.Form):
    """One reading: the number; unit, method and conditions are remembered."""

    id = forms.UUIDField(widget=forms.HiddenInput, required=False)
    value = forms.CharField(
        label="Reading",
        max_length=40,
        error_messages={"required": "Give the reading, or tap Could not measure."},
    )
    unit = forms.ChoiceField(label="Unit", choices=UNITS)
    method = forms.ChoiceField(label="Method", choices=offered)
    basis = forms.ChoiceField(
        label="The reading is",
        choices=[("diametral", "the whole clearance"), ("radial", "radial, half of it")],
    )
    exceptions = forms.MultipleChoiceField(
        label="Not as usual",
        required=False,
        choices=[(name, words) for name, (words, _) in measuring_conditions.EXCEPTIONS.items()],
        widget=forms.CheckboxSelectMultiple,
    )
    instrument = forms.CharField(label="Gauge", required=False, max_length=80)
    instrument_other = forms.CharField(label="A gauge that is not listed", required=False, max_length=80)
    less = forms.CharField(label="To be taken off", required=False, max_length=40)

    def clean_less(self) -> str:
        return number_as_typed(self.cleaned_data["less"], about="what is to be taken off: ")

    def clean_value(self) -> str:
        typed = self.cleaned_data["value"].strip()
        try:
            bare, _ = units.split_unit(typed)
            units.parse_measured(bare, decimal_comma="," in bare)
        except units.Unreadable as fault:
            raise forms.ValidationError(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
        return typed

    def facts(self) -> dict[str, Any]:
        """What `visits.enter` takes of it: the same from a page as from a device."""
        said = self.cleaned_data
        return {name: said[name] for name in ("value", "unit", "method", "basis", "less")} | {
            "instrument": said["instrument_other"].strip() or said["instrument"],
            "conditions": measuring_conditions.conditions_of(said["exceptions"]),
        }


class CouldNotForm(forms.Form):
    """Why a station was not measured."""

    id = forms.UUIDField(widget=forms.HiddenInput, required=False)
    because = forms.ChoiceField(choices=NotMeasured.Because.choices)
    note = forms.CharField(label="In a few words", required=False, max_length=300)


class OpenedForm(forms.Form):
    """Why nothing was measured at an opening, where none of the usual reasons is it."""

    note = forms.CharField(label="Another reason", required=False, max_length=300)


class PhotoForm(forms.Form):
    """A photo, what it was taken of and when in the work."""

    photo = forms.FileField(
        label="Photo (JPEG or PNG, at most 12 MB)",
        required=False,
        widget=forms.FileInput(
            attrs={"class": "photo", "accept": "image/jpeg, image/png", "capture": "environment"}
        ),
    )
    moment = forms.ChoiceField(label="Taken", required=False)
    note = forms.CharField(label="What it shows", required=False, max_length=300)

    def __init__(self, *args: Any, moments: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["moment"].choices = [(one, capfirst(one)) for one in moments]  # type: ignore[attr-defined]


# What a shell's new metal is said with before it counts. Which half is seen at the open bearing: damage of
# the other stands. Reason and serial may be not known; nothing said is no answer.
BOTH = "both"
ASKED_OF_METAL = {
    "half": "Say which half is new, or that both are.",
    "reason": "Say why it was replaced, or that it is not known.",
    "shell": "Give the serial of the new shell, or tick that it is not known.",
}


class WorkForm(forms.Form):
    """What was done: a new shell with its half, reason and serial, shims, a reground journal, ..."""

    id = forms.UUIDField(widget=forms.HiddenInput, required=False)
    kind = forms.ChoiceField(label="Work", choices=[(str(kind), words) for kind, words in WORKS])
    half = forms.ChoiceField(
        label="Which half",
        required=False,
        choices=[("", "choose"), *Half.choices, (BOTH, "both halves")],
    )
    shell = forms.CharField(label="Serial of the new shell", required=False, max_length=60)
    no_serial = forms.BooleanField(label="The serial is not known", required=False)
    reason = forms.ChoiceField(
        label="Why replaced",
        required=False,
        choices=[("", "choose"), *Reason.choices[:-1], (str(Reason.UNKNOWN), "not known")],
    )
    note = forms.CharField(label="Remark", required=False, max_length=300)

    def clean(self) -> dict[str, Any]:
        """New metal with all that is asked of it; both halves are stored as no half, a serial not known as a
        remark.
        """
        said: dict[str, Any] = super().clean() or {}
        if EFFECTS.get(said.get("kind", "")) == Effect.NEW_METAL:
            for name, words in ASKED_OF_METAL.items():
                if name in said and not said[name] and not (name == "shell" and said.get("no_serial")):
                    self.add_error(name, words)
        if said.get("half") == BOTH:
            said["half"] = ""
        if said.get("no_serial") and not said.get("shell"):
            said["note"] = "; ".join(part for part in (said.get("note"), "serial not known") if part)[:300]
        return said


MATCH_MARKS = [
    ("", "not said"),
    ("top left", "upper left of the picture"),
    ("top right", "upper right of the picture"),
    ("bottom left", "lower left of the picture"),
    ("bottom right", "lower right of the picture"),
]


class ContactForm(forms.Form):
    """How a print was taken; remembered from the round before."""

    id = forms.UUIDField(widget=forms.HiddenInput, required=False)
    half = forms.ChoiceField(label="Half", choices=Half.choices, required=False)
    in_place = forms.ChoiceField(
        label="Taken",
        required=False,
        choices=[("yes", "in place"), ("no", "on a mandrel"), ("", "not said")],
    )
    film = forms.ChoiceField(
        label="Dye",
        required=False,
        choices=[("thin", "thin and even"), ("normal", "normal"), ("heavy", "heavy"), ("", "not said")],
    )
    first_end = forms.ChoiceField(
        label="On the left is the", choices=[(end, END_WORDS[end]) for end in ("out", "in")], required=False
    )
    first_side = forms.ChoiceField(
        label="The upper edge of the picture is the joint on the",
        required=False,
        choices=[
            ("", "side not said"),
            ("left", "left, seen from the coupling"),
            ("right", "right, seen from the coupling"),
        ],
    )
    match_mark = forms.ChoiceField(label="The match mark is at the", required=False, choices=MATCH_MARKS)
    bedded = forms.ChoiceField(
        label="Was this shell ever bedded by hand?",
        required=False,
        choices=[("", "not known"), ("no", "no"), ("yes", "yes")],
    )
    worn_arc_deg = forms.FloatField(
        label="Worn (polished) arc, degrees, apart from the print",
        required=False,
        min_value=0,
        max_value=179,
        error_messages={"invalid": "Give the worn arc in degrees, 0 to 179, or leave it empty."},
    )
    turned_deg = forms.FloatField(
        label="Shaft turned, degrees",
        required=False,
        min_value=0,
        max_value=36000,
        error_messages={"invalid": "Give the turn in degrees, or leave it empty."},
    )

    def facts(self) -> dict[str, Any]:
        """What `contact.Facts` takes of it."""
        said = self.cleaned_data
        of = {"yes": True, "no": False}
        return {
            "half": said["half"] or "lower",
            "in_place": of.get(said["in_place"]),
            "film": said["film"],
            "bedded_by_hand": of.get(said["bedded"]),
            "worn_arc_deg": said["worn_arc_deg"],
            "turned_deg": said["turned_deg"],
            "first_end": said["first_end"] or "out",
            "first_side": said["first_side"],
        }


def read_cells(text: str) -> list[list[int]]:
    """The cells of a print from its hidden field, lines of `.`, `+` and `#`.

    >>> read_cells(".+/##")
    [[0, 1], [2, 2]]
    """
    lines = [line for line in re.split(r"[/\s]+", text.strip()) if line]
    return [[max(".+#".find(mark), 0) for mark in line] for line in lines]


def write_cells(cells: Any) -> str:
    """The cells of a print as they stand in its hidden field."""
    return "/".join("".join(".+#"[int(mark)] for mark in row) for row in cells)


def new_id() -> str:
    """An id for an entry about to be typed: the same form sent twice is one entry."""
    return str(uuid.uuid4())


def uuid_of_form(text: str | None) -> uuid.UUID | None:
    """An id as a form sends it; None for anything else."""
    try:
        return uuid.UUID(str(text))
    except ValueError:
        return None
