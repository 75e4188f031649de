"""Recording at the pump: begin or continue the visit, the readings one by one, what could not be measured, the overview."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from fleet import registering
from fleet.models import Person
from inspections import visits
from inspections.addresses import bearing_address
from inspections.conditions import EXCEPTIONS, conditions_of, exception_words
from inspections.expecting import Station, last_at, station
from inspections.forms.record import CouldNotForm, ReadingForm, StartForm, new_id
from inspections.models import EventKind, Method, NotMeasured, Reading, Stage
from inspections.photos import photos_of
from inspections.verdict import SIGN, Expected, Held, shown, with_unit
from inspections.views.record_desk import Desk, at_the_pump, desk_at, outage_now, people_for
from inspections.views.record_photo import photos_allowed
from inspections.visiting import NotRecorded

STAGE_WORDS = dict(Stage.choices)


@require_http_methods(["GET", "HEAD", "POST"])
def start(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """The guard against the wrong bearing, who measures, the cautions; a post begins or continues the visit."""
    desk = desk_at(request, pump, position)
    outage = outage_now(desk.bearing, desk.today)
    known = "planned" if outage else ""
    form = StartForm(request.POST or None, people=people_for(desk), why_known=known)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        who = (
            registering.person_named(said["new_name"], by=desk.person).pk
            if said["new_name"].strip()
            else UUID(said["measured_by"])
        )
        desk.visit = visits.begin(
            bearing=desk.bearing, on=desk.today, by=desk.person, measured_by=who, why=said["why"] or known,
            outage=outage.pk if outage else None,
        )  # fmt: skip
        desk.__dict__.pop("memory", None)
        desk.remember(measured_by=str(who))
        todo = bool(desk.open_stations(Stage.AS_FOUND)) and not desk.work
        return redirect(
            desk.address("record-reading", stage=Stage.AS_FOUND) if todo else desk.address("record-overview")
        )
    others = [one for one in desk.bearing.place.bearings.standing() if one.pk != desk.bearing.pk]
    parts = sorted([desk.bearing, *others], key=lambda one: one.folded)
    context = desk.context(
        form=form,
        outage=outage,
        page=bearing_address(desk.bearing),
        parts=parts,
        others=others,
        known_why=known,
    )
    return render(request, "inspections/record_start.html", context)


@at_the_pump
def reading(desk: Desk) -> HttpResponse:
    """One station: the number, its verdict at once, the next station."""
    request = desk.request
    stage = request.GET.get("stage", Stage.AS_FOUND)
    stage = stage if stage in Stage.values else str(Stage.AS_FOUND)
    key = request.GET.get("at", "")
    where = station(key) if key else next(iter(desk.open_stations(stage)), None)
    if where is None:
        return redirect(desk.address("record-overview"))
    earlier = _of_visit(desk, request.GET.get("again"))
    form = ReadingForm(request.POST) if request.method == "POST" else ReadingForm(initial=_remembered(desk))
    if request.method == "POST" and form.is_valid():
        try:
            return _entered(desk, form, stage, where, earlier)
        except NotRecorded as fault:
            form.add_error("value", str(fault))
    context = desk.context(**_screen(desk, form, stage, where, earlier))
    return render(request, "inspections/record_reading.html", context)


def _entered(
    desk: Desk, form: ReadingForm, stage: str, where: Station, earlier: Reading | None
) -> HttpResponse:
    """Store a reading and lead on: to a second measurement where it is unlikely, else to the next station."""
    said = form.cleaned_data
    assert desk.visit is not None
    desk.remember(
        unit=said["unit"], method=said["method"], basis=said["basis"], exceptions=said["exceptions"]
    )
    stored = visits.enter(
        visit=desk.visit, bearing=desk.bearing, on=desk.today, value=said["value"], unit=said["unit"], by=desk.person,
        id=said["id"], instead_of=earlier, stage=stage, station="" if where.key == "any" else where.key,
        method=said["method"], basis=said["basis"], instrument=said["instrument"], quantity="clearance",
        conditions=conditions_of(said["exceptions"]), measured_by=UUID(desk.memory.get("measured_by", str(desk.person))),
    )  # fmt: skip
    desk.__dict__.pop("readings", None)
    if stored.repeat == 1 and desk.verdict_on(stored).asked:
        return redirect(desk.address("record-reading", stage=stage, at=where.key, again=stored.pk))
    return redirect(_next_address(desk, stage, stored))


def _next_address(desk: Desk, stage: str, stored: Reading | None) -> str:
    more = {"last": stored.pk} if stored else {}
    if desk.open_stations(stage):
        return desk.address("record-reading", stage=stage, **more)
    return desk.address("record-overview", **more)


def _remembered(desk: Desk) -> dict[str, Any]:
    memory = desk.memory
    return {
        "id": new_id(), "unit": desk.setup.unit, "method": desk.setup.method, "basis": memory.get("basis", "diametral"),
        "exceptions": memory.get("exceptions", []),
    }  # fmt: skip


def _screen(
    desk: Desk, form: ReadingForm, stage: str, where: Station, earlier: Reading | None
) -> dict[str, Any]:
    unit = str(form["unit"].value() or desk.setup.unit)
    method = str(form["method"].value() or desk.setup.method)
    held, expected = desk.held(stage), desk.expected(stage, where)
    last = last_at(desk.before.known, where)
    place = desk.stations.index(where) + 1 if where in desk.stations else 0
    previous = _of_visit(desk, desk.request.GET.get("last"))
    return {
        "place_words": f"{place} of {len(desk.stations)}" if place else where.words,
        "earlier_unit": SIGN.get(earlier.unit, earlier.unit) if earlier else "",
        "mended_value": _mended(desk, earlier) if earlier else "",
        "mend_address": desk.address("record-mend", reading=earlier.pk) if earlier else "",
        "device": desk.for_device("reading", stage, where, earlier.pk if earlier else ""),
        "form": form, "stage": stage, "stage_words": STAGE_WORDS[stage], "where": where,
        "earlier": earlier, "earlier_verdict": desk.verdict_on(earlier) if earlier else None,
        "previous": previous, "previous_verdict": desk.verdict_on(previous) if previous else None,
        "unit": unit, "unit_words": dict(form.fields["unit"].choices).get(unit, unit),  # type: ignore[attr-defined]
        "method": method, "method_words": dict(Method.choices).get(method, "method not known"),  # type: ignore[call-overload]
        "facts_line": _facts_line(last, expected, unit),
        "skip": _next_address(desk, stage, None) if earlier else "",
        "could_not": desk.address("record-could-not", stage=stage, at=where.key),
        "exception_words": exception_words(dict.fromkeys(form["exceptions"].value() or [], True)),
        "data": verdict_data(desk, held, expected, unit), "step": _step(unit, method),
    }  # fmt: skip


def _mended(desk: Desk, earlier: Reading) -> str:
    """The value that the likely slip stands for, as it would be typed."""
    cure = desk.verdict_on(earlier).mended_um
    return "" if cure is None else shown(cure, earlier.unit)


def _facts_line(last: Any, expected: Expected | None, unit: str) -> str:
    """ "Last time 8.8 · expected today 8.6 to 9.3 thou"."""
    parts = []
    if last and last.value_um is not None:
        parts.append(f"Last time {shown(last.value_um, unit)}")
    elif last:
        parts.append(f"Last time {last.typed} {last.unit}")
    if expected and not expected.rough:
        low = expected.low_um - expected.taper_um
        parts.append(f"expected {shown(low, unit)} to {with_unit(expected.high_um, unit)}")
    if not parts:
        return "First reading here: nothing to compare it with."
    said = " · ".join(parts)
    return said[:1].upper() + said[1:]


def _step(unit: str, method: str) -> str:
    """What the minus and plus buttons change: the usual step of a gauge, typed in its unit."""
    fine = method in (Method.MICROMETER, Method.BORE_GAUGE)
    return {
        "mm": "0.001" if fine else "0.01",
        "um": "1" if fine else "10",
        "in": "0.0001" if fine else "0.0005",
    }.get(unit, "0.1" if fine else "0.5")


def verdict_data(desk: Desk, held: Held, expected: Expected | None, unit: str) -> dict[str, Any]:
    """What the browser needs to say the same at once."""
    methods = {name: spread.sd_um for name, spread in desk.trust.items()}
    return {
        "held": vars(held), "expected": vars(expected) if expected else None, "unit": unit, "sd": methods,
        "exceptions": {name: sd for name, (_, sd) in EXCEPTIONS.items()},
    }  # fmt: skip


def _of_visit(desk: Desk, pk: str | None) -> Reading | None:
    return next((one for one in desk.readings if str(one.pk) == pk), None) if pk else None


@at_the_pump
def could_not(desk: Desk) -> HttpResponse:
    """Why a station is not measured: one tap on the reason."""
    request = desk.request
    stage, where = request.GET.get("stage", "as_found"), station(request.GET.get("at", "any"))
    form = CouldNotForm(request.POST or None, initial={"id": new_id()})
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        visits.could_not_measure(
            visit=desk.visit, bearing=desk.bearing, stage=stage, because=said["because"], by=desk.person, id=said["id"],
            end=where.end, clock=where.clock, note=said["note"],
        )  # type: ignore[arg-type] # fmt: skip
        return redirect(_next_address(desk, stage, None))
    context = desk.context(
        form=form, stage_words=STAGE_WORDS.get(stage, ""), where=where, device=desk.for_device("could_not", stage, where), reasons=NotMeasured.Because.choices,
        back=desk.address("record-reading", stage=stage, at=where.key),
    )  # type: ignore[call-overload] # fmt: skip
    return render(request, "inspections/record_could_not.html", context)


@at_the_pump
def mend(desk: Desk) -> HttpResponse:
    """Put a slip right: the value as it stands, to be typed over; both versions are kept."""
    request = desk.request
    one = get_object_or_404(
        Reading.objects.standing(),
        pk=_uuid(request.GET.get("reading")),
        visit=desk.visit,
        bearing=desk.bearing,
    )
    if request.method == "POST":
        try:
            mended = visits.mend(
                reading=one,
                value=request.POST.get("value", ""),
                unit=request.POST.get("unit", one.unit),
                by=desk.person,
            )
        except NotRecorded as fault:
            messages.error(request, str(fault))
        else:
            messages.success(
                request, f"Mended: {one.typed} {SIGN.get(one.unit, one.unit)} stays in the record as mended."
            )
            desk.__dict__.pop("readings", None)
            return redirect(_next_address(desk, one.stage, mended))
    context = desk.context(
        one=one, where=Station(one.end, one.clock), stage_words=STAGE_WORDS[one.stage], unit_words=SIGN.get(one.unit, one.unit),
    )  # fmt: skip
    return render(request, "inspections/record_mend.html", context)


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(str(text))
    except ValueError:
        return None


@at_the_pump
def overview(desk: Desk) -> HttpResponse:
    """All of the visit so far, whoever entered it, and the step that comes next."""
    previous = _of_visit(desk, desk.request.GET.get("last"))
    names = {p.pk: p.name for p in Person.objects.filter(pk__in={r.measured_by for r in desk.readings})}
    lines = [(one, desk.verdict_on(one), names.get(one.measured_by, "")) for one in desk.readings]
    rounds = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    seen = [one for one in desk.events if one.kind == EventKind.FOUND]
    works = [one for one in desk.events if one.kind not in (EventKind.FOUND, EventKind.CONTACT_CHECK)]
    context = desk.context(
        lines=lines, rounds=rounds, seen=seen, works=works, previous=previous, next=next_step(desk, rounds),
        previous_verdict=desk.verdict_on(previous) if previous else None, left_out=_left_out(desk),
        photos=photos_of(desk.bearing, desk.visit), may_photo=photos_allowed(desk), as_left=bool(desk.work), stages=Stage, open_found=desk.open_stations(Stage.AS_FOUND),
    )  # fmt: skip
    return render(desk.request, "inspections/record_overview.html", context)


def _left_out(desk: Desk) -> list[tuple[str, str]]:
    return [
        (f"{STAGE_WORDS[one.stage]}, {Station(one.end, one.clock).words}", str(one.get_because_display()))
        for one in desk.left_out
    ]


def next_step(desk: Desk, rounds: list) -> tuple[str, str]:
    """The one step that comes next: its address and what its button says."""
    if desk.open_stations(Stage.AS_FOUND) and not desk.work and not desk.readings:
        return desk.address("record-reading", stage=Stage.AS_FOUND), "Measure as found"
    last = rounds[-1].event if rounds else None
    if (
        last
        and last.outcome == "scrape"
        and any(
            one.kind == EventKind.SCRAPE and (one.on, one.order) > (last.on, last.order)
            for one in desk.events
        )
    ):
        return desk.address("record-check"), f"Check again, round {rounds[-1].round + 1}"
    if last and last.outcome == "scrape":
        return desk.address("record-print"), f"Round {rounds[-1].round}: scrape, then check again"
    if desk.work and desk.open_stations(Stage.AS_LEFT):
        return desk.address("record-reading", stage=Stage.AS_LEFT), "Measure as left"
    return desk.address("record-close"), "Finish"
