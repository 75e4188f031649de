"""The words by which remarks tell of work: the trade's, and the plant's own."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import require, sites_of
from fleet.clock import today_in
from fleet.plant.acts import Refused
from inspections.importing.plants_work_words import LONGEST, SAMPLES, add_word, drop_word, own_words
from inspections.importing.position_names import usual_names
from inspections.importing.remarks import WORDS_FOR, words_of_plant, works_named
from inspections.importing.told_values import told_values
from inspections.models import EventKind

ACT = "import"


@require_http_methods(["GET", "HEAD", "POST"])
def words(request: HttpRequest) -> HttpResponse:
    """The list, and a remark tried against it; a post adds a word or takes one out."""
    today = today_in("UTC")
    if request.method == "POST":
        _change(request, today)
        return redirect("import-words")
    own = own_words(today)
    tried = request.GET.get("remark", "").strip()[:300]
    return render(
        request,
        "inspections/words.html",
        {
            "rows": [(kind, label, SAMPLES[kind], own.get(kind, [])) for kind, label in WORDS_FOR.items()],
            "may_change": sites_of(request.user, ACT) is None,
            "longest": LONGEST,
            "tried": tried,
            "measured": [value.words for value in told_values(tried, usual_names())],
            "found": [WORDS_FOR[EventKind(kind)] for kind in works_named(tried, words_of_plant(today))],
        },
    )


def _change(request: HttpRequest, today) -> None:
    require(request.user, ACT)
    if sites_of(request.user, ACT) is not None:
        raise PermissionDenied("The list holds for the whole plant. Changing it needs the role at all sites.")
    said, by = request.POST, request.user.person_id
    kind, _, taken = said.get("drop", "").partition("|")
    try:
        if taken:
            drop_word(kind, taken, today=today, by=by)
            messages.info(request, f"'{taken}' is no longer known. What was stored by it stays.")
        else:
            add_word(said.get("kind", ""), said.get("word", ""), today=today, by=by)
            messages.info(request, "The word is known from now on, in every sheet that comes.")
    except Refused as refused:
        messages.error(request, str(refused))
