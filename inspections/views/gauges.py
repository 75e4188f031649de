"""Gauges: which are in use, when each is due, and what is in doubt where one was found wrong."""

import datetime as dt
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Max, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.access import may, require, sites_for, sites_of
from fleet.clock import today_in
from fleet.models import Attachment, Calibration, Instrument
from fleet.plant import calibration
from fleet.plant.acts import Refused
from fleet.plant.gauge_register import instrument_named
from fleet.sheets.export import xlsx_bytes
from fleet.web.rate_limit import costly
from inspections.forecasts.gauge_recall import recalls, sites_that_used
from inspections.forecasts.gauges_at_odds import at_odds
from inspections.forms.gauges import CalibrationForm, GaugeForm

SHOWN = 200
COLUMNS = (
    "site",
    "pump",
    "position",
    "measured_on",
    "stage",
    "typed",
    "unit",
    "value_um",
    "rate_um_per_kh",
    "early_date",
    "entry",
)


@require_http_methods(["GET", "HEAD", "POST"])
def gauges(request: HttpRequest) -> HttpResponse:
    """All gauges with their last check, the next, and how many readings were taken with each; a form for a
    new one.
    """
    form = GaugeForm(request.POST or None)
    if request.method == "POST":
        require(request.user, "calibrate")
        if form.is_valid():
            made = instrument_named(
                form.cleaned_data["label"], method=form.cleaned_data["method"], by=request.user.person_id
            )
            return redirect("gauge", pk=made.pk)
    sites = list(sites_for(request.user))
    counted = Count("reading", filter=Q(reading__withdrawn_by=None, reading__bearing__place__site__in=sites))
    rows = Instrument.objects.standing().annotate(n=counted, last=Max("reading__on")).order_by("folded")
    page = Paginator(rows, SHOWN).get_page(request.GET.get("page"))
    today = today_in("UTC")
    known = calibration.calibrations(page)
    lines = [(one, _last(known.get(one.pk)), _today(known.get(one.pk), today)) for one in page]
    n_late = sum(bool(doubt) for _, _, doubt in lines)
    context = {
        "form": form,
        "page": page,
        "lines": lines,
        "n_late": n_late,
        "may_calibrate": may(request.user, "calibrate"),
    }
    return render(request, "inspections/gauges.html", context)


def _today(known: list[Calibration] | None, today: dt.date) -> str:
    return calibration.doubt_on(known, today) if known else "no check recorded"


def _last(known: list[Calibration] | None) -> Calibration | None:
    return known[-1] if known else None


@require_http_methods(["GET", "HEAD", "POST"])
def gauge(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One gauge: its checks with their certificates, and every reading in doubt."""
    one = get_object_or_404(Instrument.objects.standing(), pk=pk)
    form = CalibrationForm(request.POST or None, request.FILES or None)
    if request.method == "POST":
        require(request.user, "calibrate")
        if form.is_valid() and _kept(request, one, form):
            messages.success(request, "The check is recorded.")
            return redirect("gauge", pk=pk)
    checks = list(reversed(calibration.calibrations([one]).get(one.pk, [])))
    papers = {
        paper.about: paper for paper in Attachment.objects.standing().filter(about__in=[c.pk for c in checks])
    }
    found = recalls(one, sites_for(request.user))
    context = {
        "gauge": one,
        "disagreements": at_odds(one, sites_for(request.user)),
        "form": form,
        "checks": [(check, papers.get(check.pk)) for check in checks],
        "recalls": [(recall, recall.affected[:SHOWN]) for recall in found],
        "may_calibrate": may(request.user, "calibrate"),
        "doubt": _today(checks[::-1], today_in("UTC")),
    }
    return render(request, "inspections/gauge.html", context)


def _kept(request: HttpRequest, one: Instrument, form: CalibrationForm) -> bool:
    said = form.cleaned_data
    paper = said["certificate"]
    try:
        if said["found"] != "fit":
            _must_speak_for_all(request, one)
        calibration.calibrate(
            instrument=one,
            on=said["on"],
            due_on=said["due_on"],
            found_fit=said["found"] == "fit",
            note=said["note"],
            read_over_um=said["read_over"],
            certificate=calibration.Certificate(paper.name, paper.read()) if paper else None,
            id=said["id"],
            by=request.user.person_id,
        )
    except Refused as refused:
        form.add_error(None, str(refused))
        return False
    return True


def _must_speak_for_all(request: HttpRequest, gauge: Instrument) -> None:
    """A gauge found wrong casts doubt on every reading taken with it: who declares it answers for those
    sites.

    Raises
    ------
    Refused
        where readings of other sites were taken with it; these are counted, not named.
    """
    own = sites_of(request.user, "calibrate")
    elsewhere = set() if own is None else sites_that_used(gauge) - own
    if elsewhere:
        where = "another site" if len(elsewhere) == 1 else f"{len(elsewhere)} other sites"
        raise Refused(
            f"Readings at {where} were taken with this gauge too, and would come into doubt. Nothing was"
            " recorded. Stop using it, and ask the engineer there, or one of all sites, to record that it"
            " was found wrong."
        )


@require_safe
@costly("GET")
def recall_sheet(request: HttpRequest, pk: UUID, check: UUID) -> HttpResponse:
    """Every reading that a gauge found wrong casts in doubt, as a sheet."""
    one = get_object_or_404(Instrument.objects.standing(), pk=pk)
    require(request.user, "export")
    found = next(
        (
            recall
            for recall in recalls(one, sites_for(request.user, "export"))
            if recall.calibration.pk == check
        ),
        None,
    )
    if found is None:
        raise Http404("This gauge was not found wrong by that check.")
    rows = [
        (
            one.site,
            one.pump,
            one.position,
            one.on,
            one.stage_words,
            one.typed,
            one.unit,
            one.value_um,
            one.rate_um_per_kh,
            one.early_date,
            f"{one.chain} {one.entry_n}",
        )
        for one in found.affected
    ]
    answer = HttpResponse(
        xlsx_bytes(COLUMNS, rows, sheet_name="In doubt"),
        content_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    )
    answer["Content-Disposition"] = 'attachment; filename="readings-in-doubt.xlsx"'
    return answer


@require_safe
def certificate(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The paper of a calibration, to be kept, never shown in the site's own name."""
    checks = Calibration.objects.standing().values("pk")
    paper = get_object_or_404(Attachment.objects.standing().filter(about__in=checks), pk=pk)
    if not may(request.user, "read"):
        raise Http404("No certificate that you may read.")
    data = bytes(paper.file.data)
    answer = HttpResponse(data, content_type=calibration.content_type_of(data))
    name = "".join(
        sign if sign.isascii() and (sign.isalnum() or sign in ".-_") else "-" for sign in paper.name
    )
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
