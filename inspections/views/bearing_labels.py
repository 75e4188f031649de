"""Labels to print for each bearing: a QR code that leads to it whatever it is called later."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.access import sites_for
from fleet.drawing import qr_drawing
from fleet.models import folded
from fleet.web.bearing_search import visible


@require_safe
def labels(request: HttpRequest) -> HttpResponse:
    """One site's labels, or one pump's; the code holds the inner id, so that old labels lead on."""
    sites = list(sites_for(request.user))
    asked = folded(request.GET.get("site", ""))
    chosen = next((one.name for one in sites if one.folded == asked), sites[0].name if sites else "")
    rows = visible(request.user).filter(place__site__folded=folded(chosen))
    pumps = sorted({one.place.tag for one in rows}, key=folded)
    pump = request.GET.get("pump", "") if request.GET.get("pump", "") in pumps else ""
    shown = [one for one in rows if not pump or one.place.folded == folded(pump)]
    addresses = [request.build_absolute_uri(reverse("bearing-label", args=[one.pk])) for one in shown]
    made = [
        (one, qr_drawing(address, f"QR code of {address}"))
        for one, address in zip(shown, addresses, strict=True)
    ]
    context = {"made": made, "sites": sites, "site": chosen, "pumps": pumps, "pump": pump}
    return render(request, "inspections/labels.html", context)
