"""What a machine's own book says of one bearing, as the plant has entered it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import may, require
from fleet.clock import today_at
from fleet.models import Person, Setting
from fleet.plant.acts import Refused
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import the_one_called
from inspections.visits.machine_book import ENTRIES, LONGEST, book_of, enter

ACT = "set limits"


@require_http_methods(["GET", "HEAD", "POST"])
def machine_book(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """The entries for whoever may read the bearing; the form for its engineers."""
    bearing = the_one_called(request.user, pump, position, request.GET.get("site", ""))
    site, today = bearing.place.site, today_at(bearing.place.site)
    book = book_of(bearing, today, Setting.objects.of(site))
    typed = dict(book.entries)
    if request.method == "POST":
        require(request.user, ACT, site)
        typed = {name: request.POST.get(name, "") for name in ENTRIES}
        try:
            enter(bearing=bearing, entries=typed, on=today, by=request.user.person_id)
        except Refused as refused:
            messages.error(request, f"{refused} Nothing was changed.")
        else:
            messages.success(
                request, "Recorded. It stands at the pump from now on; what it was before stays."
            )
            return redirect(bearing_address(bearing, "bearing-book"))
    context = {
        "bearing": bearing,
        "place": bearing.place,
        "book": book,
        "by": Person.objects.filter(pk=book.by).first() if book.by else None,
        "fields": [(name, *words, typed.get(name, "")) for name, words in ENTRIES.items()],
        "longest": LONGEST,
        "may_enter": may(request.user, ACT, site),
        "back": bearing_address(bearing),
        "limits": bearing_address(bearing, "bearing-limits"),
    }
    return render(request, "inspections/machine_book.html", context)
