"""The names of a pump and its position: another one from a day on, another spelling; old names lead on."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import may, require
from fleet.models import Bearing, Place
from fleet.plant.acts import Refused
from fleet.plant.renaming import LONGEST_NAME, LONGEST_SPELLING, add_spelling, names_of, rename
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import the_one_called

ACT = "correct"
THINGS = [("pump", "the pump"), ("position", "the position")]


class NewNameForm(forms.Form):
    """Another name of the pump or of the position, from when, and why."""

    of = forms.ChoiceField(
        label="Which name",
        choices=[("", "choose"), *THINGS],
        error_messages={"required": "Choose whether the pump or the position gets another name."},
    )
    name = forms.CharField(
        label="New name", max_length=LONGEST_NAME[Place], error_messages={"required": "Give the new name."}
    )
    from_on = forms.DateField(
        label="In use from",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Leave empty where it was meant to be so always, such as a slip of the pen.",
    )
    reason = forms.CharField(
        label="Why",
        max_length=300,
        error_messages={"required": "Say in a few words why it is called otherwise now."},
    )
    was_pump = forms.CharField(widget=forms.HiddenInput)
    was_position = forms.CharField(widget=forms.HiddenInput)


class SpellingForm(forms.Form):
    """Another spelling of either name, as sheets have it."""

    spelling_of = forms.ChoiceField(
        label="A spelling of",
        choices=[("", "choose"), *THINGS],
        error_messages={"required": "Choose whether it is a spelling of the pump or of the position."},
    )
    spelling = forms.CharField(
        label="The spelling",
        max_length=LONGEST_SPELLING,
        help_text="Sheets and searches that say so find it; it is never shown as the name.",
        error_messages={"required": "Write it as the sheets do."},
    )


@require_http_methods(["GET", "HEAD", "POST"])
def names(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """Every name of one pump and position; for its engineers the forms for another one."""
    bearing = the_one_called(request.user, pump, position, request.GET.get("site", ""))
    place = bearing.place
    renaming = NewNameForm(initial={"was_pump": place.tag, "was_position": bearing.name})
    spelling = SpellingForm()
    if request.method == "POST":
        require(request.user, ACT, place.site)
        if "spelling" in request.POST:
            spelling = SpellingForm(request.POST)
            done = spelling.is_valid() and _spelled(request, bearing, spelling)
        else:
            renaming = NewNameForm(request.POST)
            done = renaming.is_valid() and _renamed(request, bearing, renaming)
        if done:
            return redirect(bearing_address(bearing, "bearing-names"))
    context: dict[str, Any] = {
        "bearing": bearing,
        "place": place,
        "names": [("Pump", place.tag, names_of(place)), ("Position", bearing.name, names_of(bearing))],
        "renaming": renaming,
        "spelling": spelling,
        "faulty": next((form for form in (renaming, spelling) if form.errors), None),
        "may_name": may(request.user, ACT, place.site),
        "back": bearing_address(bearing),
    }
    return render(request, "fleet/names.html", context)


def _renamed(request: HttpRequest, bearing: Bearing, form: NewNameForm) -> bool:
    typed = form.cleaned_data
    now = (bearing.place.tag, bearing.name)
    if now != (typed["was_pump"], typed["was_position"]):
        form.add_error(
            None, f"Somebody gave it another name meanwhile: it is {now[0]}, {now[1]} now. Look again."
        )
        return False
    thing = _thing(bearing, typed["of"])
    old = str(thing)
    try:
        rename(
            thing,
            name=typed["name"],
            from_on=typed["from_on"],
            reason=typed["reason"],
            by=request.user.person_id,
        )
    except Refused as refused:
        form.add_error("name", str(refused))
        return False
    messages.success(request, f"{old} is called {thing} now; the old name leads here.")
    return True


def _spelled(request: HttpRequest, bearing: Bearing, form: SpellingForm) -> bool:
    thing = _thing(bearing, form.cleaned_data["spelling_of"])
    try:
        row = add_spelling(thing, text=form.cleaned_data["spelling"], by=request.user.person_id)
    except Refused as refused:
        form.add_error("spelling", str(refused))
        return False
    messages.success(request, f"“{row.text}” means {thing} from now on.")
    return True


def _thing(bearing: Bearing, of: str) -> Place | Bearing:
    return bearing.place if of == "pump" else bearing
