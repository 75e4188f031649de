"""The record's proof, for an auditor: seals to carry out and hold against it, its check, who may do what,
gauges in doubt.
"""

import datetime as dt

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.dateparse import parse_datetime
from django.views.decorators.http import require_POST, require_safe

from fleet import background_jobs
from fleet.access import require, sites_for, sites_of
from fleet.clock import today_in
from fleet.ledger.outside_seals import compared, read_paper, witnesses
from fleet.models import Instrument, Job, Seal
from fleet.plant import calibration, record_checks, role_history
from fleet.plant import witnesses as carrying
from fleet.web import audit_log
from fleet.web.rate_limit import costly

RIGHT = record_checks.RIGHT
SEALS_SHOWN, LINES_SHOWN = 12, 200
LARGEST_SEAL = 30_000_000


@require_safe
def proof(request: HttpRequest) -> HttpResponse:
    """What shows that the record is what it was: when it was last witnessed and checked, and how to do both
    now.
    """
    require(request.user, RIGHT)
    taken = witnesses()
    last = record_checks.last_check()
    names = role_history.names_of([*(one.by for one in taken[:LINES_SHOWN]), last.by if last else None])
    by_seal: dict[int, list[tuple[str, str, dt.datetime]]] = {}
    for one in taken[:LINES_SHOWN]:
        by_seal.setdefault(one.seal, []).append((names.get(one.by, role_history.NOT_KNOWN), one.how, one.at))
    seals = list(Seal.objects.order_by("-n").only("n", "sealed_at", "hash", "root")[:SEALS_SHOWN])
    running = Job.objects.filter(
        kind=record_checks.WORK, state__in=(Job.State.WAITING, Job.State.RUNNING)
    ).order_by("-asked_at")
    context = {
        "seals": [(seal, by_seal.get(seal.n, [])) for seal in seals],
        "last_seal": seals[0] if seals else None,
        "n_seals": Seal.objects.count(),
        "witness": taken[0] if taken else None,
        "witnessed_by": names.get(taken[0].by, role_history.NOT_KNOWN) if taken else "",
        "check": last,
        "checked_by": names.get(last.by, role_history.NOT_KNOWN) if last else "",
        "running": running.first(),
        "cannot_show": record_checks.CANNOT_SHOW,
        "gauges": _gauges_in_doubt(),
    }
    return render(request, "fleet/proof.html", context)


def _gauges_in_doubt() -> list[tuple[Instrument, str]]:
    """Gauges against which something speaks today, with the words for it; where no check was ever recorded,
    none.
    """
    known = calibration.calibrations()
    if not known:
        return []
    today = today_in("UTC")
    rows = Instrument.objects.standing().order_by("folded")
    said = [(one, calibration.doubt_on(known.get(one.pk, []), today)) for one in rows]
    return [(one, words) for one, words in said if words]


@require_POST
@costly("POST")
def take_seal(request: HttpRequest) -> HttpResponse:
    """Seal now, or take an earlier seal, to carry it out as a file; who took it is recorded."""
    require(request.user, RIGHT)
    number = request.POST.get("seal", "")
    earlier = get_object_or_404(Seal, n=number) if number.isdecimal() and len(number) < 19 else None
    seal, paper = carrying.take_along(by=request.user.person_id, seal=earlier)
    audit_log.say("seal taken along", request, seal=seal.n)
    answer = HttpResponse(paper, content_type="application/json")
    answer["Content-Disposition"] = f'attachment; filename="seal-{seal.n}.json"'
    return answer


@require_POST
@costly("POST")
def hold_seal(request: HttpRequest) -> HttpResponse:
    """Hold a seal that was kept outside against the record as it is now; nothing is stored."""
    require(request.user, RIGHT)
    sent = request.FILES.get("seal")
    if sent is None:
        messages.error(request, "No file was chosen. Choose the seal that you kept outside.")
        return redirect("proof")
    if (size := sent.size or 0) > LARGEST_SEAL:
        messages.error(request, f"{sent.name} has {size // 1_000_000} MB; a seal has at most 30 MB.")
        return redirect("proof")
    try:
        paper = read_paper(sent.read(), str(sent.name))
    except ValueError as refused:
        messages.error(request, str(refused))
        return redirect("proof")
    faults = compared(str(sent.name), paper)
    audit_log.say("seal held against the record", request, seal=paper.n, faults=len(faults))
    return render(
        request,
        "fleet/proof_held.html",
        {
            "paper": paper,
            "sealed_at": parse_datetime(str(paper.seal["sealed_at"])),
            "name": sent.name,
            "faults": faults[: record_checks.SHOWN],
            "n_faults": len(faults),
        },
        status=200,
    )


@require_POST
@costly("POST")
def check_record(request: HttpRequest) -> HttpResponse:
    """Ask for the check of the whole record; the worker does it."""
    require(request.user, RIGHT)
    job = background_jobs.ask(record_checks.WORK, by=request.user)
    return redirect("job", job_id=job.pk)


@require_safe
def who(request: HttpRequest) -> HttpResponse:
    """Roles given and ended, and what was done to ways to sign in, at the sites of whoever looks."""
    require(request.user, RIGHT)
    sites = sites_of(request.user, RIGHT)
    roles = role_history.roles_at(sites)
    accounts = role_history.account_history({line.role.person_id for line in roles}, LINES_SHOWN)
    context = {
        "roles": roles[:LINES_SHOWN],
        "n_roles": len(roles),
        "accounts": accounts,
        "most": LINES_SHOWN,
        "sites": "all sites" if sites is None else ", ".join(map(str, sites_for(request.user, RIGHT))),
    }
    return render(request, "fleet/proof_who.html", context)
