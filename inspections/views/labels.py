"""Labels to print for each bearing: a QR code that leads to it whatever it is called later."""

import segno
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.views.decorators.http import require_safe

from fleet.access import sites_for
from fleet.models import folded
from fleet.web.bearing_search import visible

QUIET = 4  # modules of white around a QR code (ISO/IEC 18004)


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
    made = [
        (one, qr_drawing(request.build_absolute_uri(reverse("bearing-label", args=[one.pk]))))
        for one in shown
    ]
    context = {"made": made, "sites": sites, "site": chosen, "pumps": pumps, "pump": pump}
    return render(request, "inspections/labels.html", context)


def qr_drawing(address: str) -> SafeString:
    """A QR code of an address as one SVG path, a quarter of it may be dirty (level Q)."""
    rows = [bytes(row) for row in segno.make(address, error="q", micro=False).matrix]
    side = len(rows) + 2 * QUIET
    path = "".join(
        f"M{k + QUIET} {i + QUIET}h1v1h-1z"
        for i, row in enumerate(rows)
        for k, dark in enumerate(row)
        if dark
    )
    return format_html(
        '<svg class="qr" viewBox="0 0 {} {}" role="img" aria-label="QR code of {}"><rect width="{}" height="{}"/>'
        '<path d="{}"/></svg>',
        side,
        side,
        address,
        side,
        side,
        path,
    )
