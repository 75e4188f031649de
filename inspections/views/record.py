"""Recording at the pump: begin or continue the visit, who measures, what could not be
measured, the overview.
"""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from fleet.plant.people import person_named
from fleet.web.bearing_addresses import bearing_address
from inspections.models import ContactCheck, EventKind, NotMeasured, Reading, Stage
from inspections.records.openings import NotRecorded
from inspections.views.record_contact import keep_tapped
from inspections.views.record_photo import photos_allowed
from inspections.views.record_reading import STAGE_WORDS, next_address, reading_of
from inspections.views.record_slips import rivals_shown
from inspections.visits import acts
from inspections.visits.acts import CHECKED, MEASURED, RECORDED, attend, begin, could_not_measure
from inspections.visits.contact_rounds import last_rounds
from inspections.visits.desk import Desk, at_the_pump, desk_at
from inspections.visits.device_memory import from_a_sheet
from inspections.visits.diameters import bore_minus_journal
from inspections.visits.expectations import NEW_METAL
from inspections.visits.forms import CouldNotForm, PeopleForm, StartForm, new_id, uuid_of_form
from inspections.visits.open_bearing import Scraping, scraping_of, whom_to_ring, word_of
from inspections.visits.photos import photos_of
from inspections.visits.quantities import asked, with_station
from inspections.visits.screen_context import (
    device_facts,
    events_in_words,
    people_to_pick,
    screen_context,
    with_words,
)
from inspections.visits.signatures import asked_of
from inspections.visits.stations import Station, station
from inspections.visits.verdict import SIGN
from inspections.visits.visit_record import outage_now
from inspections.visits.word_at_pump import ENGINEER, HOLD, MEASURE, REPEAT, Standing

AT_ONCE = 3  # names to tap on the first screen; the others are in a list


@require_http_methods(["GET", "HEAD", "POST"])
def start(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """The guard against the wrong bearing, who measures, the cautions; a post begins or
    continues the visit.
    """
    desk = desk_at(request, pump, position)
    outage = outage_now(desk.bearing, desk.today)
    people = people_to_pick(desk)
    form = StartForm(
        request.POST or None,
        people=people,
        at_once=AT_ONCE,
        why_known="planned" if outage else "",
        today=desk.today,
        initial={"measured_by": str(people[0].pk), "measured_on": desk.memory.kept.get("on", "")},
    )
    if request.method == "POST" and form.is_valid():
        try:
            return redirect(_begun(desk, form.cleaned_data, outage))
        except NotRecorded as fault:
            form.add_error("measured_on", str(fault))
    others = [one for one in desk.bearing.place.bearings.standing() if one.pk != desk.bearing.pk]
    context = screen_context(
        desk,
        form=form,
        outage=outage,
        page=bearing_address(desk.bearing),
        others=others,
        parts=sorted([desk.bearing, *others], key=lambda one: one.folded),
        from_sheet=desk.memory.on != desk.today,
        to_sign=asked_of(desk.person, desk.bearing.place_id),
    )
    return render(request, "inspections/record_start.html", context)


def _begun(desk: Desk, said: dict[str, Any], outage: Any) -> str:
    """Begin or continue the visit of today, or that of the paper sheet's day; answers where it leads."""
    who, on = _person(desk, said) or desk.person, said["measured_on"] or desk.today
    kept = {name: said[name] for name in ("job", "procedure", "revision") if said[name].strip()}
    if on != desk.today:
        outage = outage_now(desk.bearing, on)
    visit = begin(
        bearing=desk.bearing,
        on=on,
        by=desk.person,
        measured_by=who,
        outage=outage.pk if outage else None,
        why=said["why"] or ("planned" if outage else ""),
        **kept,
    )
    desk.turn_to(visit)
    session = desk.request.session
    session.pop(from_a_sheet(desk.bearing.place_id), None)
    if on != desk.today:
        session[from_a_sheet(desk.bearing.place_id)] = str(visit.pk)
    desk.memory.remember(measured_by=str(who), on=on.isoformat() if on != desk.today else "")
    desk.memory.pick(who)
    todo = bool(desk.rules.open_stations(Stage.AS_FOUND)) and not desk.rules.work
    return (
        desk.screens.address("record-reading", stage=Stage.AS_FOUND)
        if todo
        else desk.screens.address("record-overview")
    )


def _person(desk: Desk, said: dict[str, Any]) -> UUID | None:
    """Who was named: a name typed, else one of the list, else one tapped; None for nobody."""
    if said["new_name"].strip():
        return person_named(said["new_name"], by=desk.person).pk
    chosen = said.get("listed") or said.get("measured_by")
    return UUID(chosen) if chosen else None


PARTS = {
    MEASURED: "Who measures?",
    RECORDED: "Who writes it down?",
    CHECKED: "Who checks?",
}


@at_the_pump
def people(desk: Desk) -> HttpResponse:
    """On a shared device one picks a name in one tap: who measures, who writes it down,
    who checks; it stays.
    """
    request = desk.request
    part = request.GET.get("part", MEASURED)
    part = part if part in PARTS else MEASURED
    names = people_to_pick(desk)
    form = PeopleForm(
        request.POST or None,
        people=names,
        today=desk.today,
        opened_on=desk.visit.opened_on,
        initial={"on": desk.memory.on},  # type: ignore[union-attr]
    )
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        if "day" in request.POST:
            on = said["on"] or desk.today
            desk.memory.remember(on=on.isoformat() if on != desk.today else "")
        else:
            _picked(desk, part, _person(desk, said))
        return redirect(_back_to(desk))
    tabs = [
        (words, desk.screens.address("record-people", **_asked(request) | {"part": name}))
        for name, words in PARTS.items()
        if name != part
    ]
    context = screen_context(
        desk,
        form=form,
        people=names,
        part=part,
        heading=PARTS[part],
        tabs=tabs,
        back=_back_to(desk),
        now={MEASURED: desk.memory.measured_by, CHECKED: desk.memory.checked_by}.get(
            part, desk.memory.recorded_by
        ),
    )
    return render(request, "inspections/record_people.html", context)


def _picked(desk: Desk, part: str, who: UUID | None) -> None:
    assert desk.visit is not None
    if who is not None:
        desk.memory.pick(who)
        if part != CHECKED:
            attend(visit=desk.visit, person=who, part=part, by=desk.person)
    desk.memory.remember(**{f"{part}_by": str(who) if who else ""})


def _asked(request: HttpRequest) -> dict[str, str]:
    return {name: request.GET[name] for name in ("then", "stage", "quantity", "at") if request.GET.get(name)}


def _back_to(desk: Desk) -> str:
    """The reading from which somebody else's name was asked for, else the overview."""
    asked_for = _asked(desk.request)
    if asked_for.pop("then", "") == "reading":
        return desk.screens.address("record-reading", **asked_for)
    return desk.screens.address("record-overview")


@at_the_pump
def could_not(desk: Desk) -> HttpResponse:
    """Why a station is not measured: one tap on the reason."""
    request = desk.request
    stage, where = request.GET.get("stage", "as_found"), station(request.GET.get("at", "any"))
    quantity = asked(request.GET.get("quantity", "")).name
    form = CouldNotForm(request.POST or None, initial={"id": new_id()})
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        could_not_measure(
            visit=desk.visit,
            bearing=desk.bearing,
            stage=stage,
            because=said["because"],
            by=desk.person,
            id=said["id"],
            end=where.end,
            clock=where.clock,
            note=said["note"],
            quantity=quantity,
        )  # type: ignore[arg-type]
        desk.record.forget("left_out")
        return redirect(next_address(desk, stage, None, quantity))
    context = screen_context(
        desk,
        form=form,
        stage_words=STAGE_WORDS.get(stage, ""),
        where=with_station(quantity, where),
        device=device_facts(desk, "could_not", stage, where, quantity=quantity),
        reasons=NotMeasured.Because.choices,
        back=desk.screens.address("record-reading", stage=stage, at=where.key, quantity=quantity),
    )  # type: ignore[call-overload]
    return render(request, "inspections/record_could_not.html", context)


@at_the_pump
def mend(desk: Desk) -> HttpResponse:
    """Put a slip right: the value as it stands, to be typed over; both versions are kept."""
    request = desk.request
    one = get_object_or_404(
        Reading.objects.standing(),
        pk=uuid_of_form(request.GET.get("reading")),
        visit=desk.visit,
        bearing=desk.bearing,
    )
    if request.method == "POST":
        try:
            mended = acts.mend(
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
            desk.record.forget()
            return redirect(next_address(desk, one.stage, mended, one.quantity))
    context = screen_context(
        desk,
        one=with_words(desk, one),
        stage_words=STAGE_WORDS[one.stage],
        unit_words=SIGN.get(one.unit, one.unit),
    )
    return render(request, "inspections/record_mend.html", context)


@at_the_pump
def overview(desk: Desk) -> HttpResponse:
    """All of the visit so far, whoever entered it, and the step that comes next."""
    keep_tapped(desk)
    previous = reading_of(desk, desk.request.GET.get("last"))
    lines = [
        (with_words(desk, one), desk.rules.verdict_on(one), who_of(desk, one)) for one in desk.record.readings
    ]
    rounds = desk.record.rounds
    events = events_in_words(desk)
    scraping = scraping_of(desk.rules)
    seen = [one for one in events if one.kind == EventKind.FOUND]
    works = [one for one in events if one.kind not in (EventKind.FOUND, EventKind.CONTACT_CHECK)]
    rings = any(row.word in (HOLD, ENGINEER) for row in scraping.stands)
    unit = desk.rules.setup_for("clearance").unit
    context = screen_context(
        desk,
        lines=lines,
        stands=scraping.stands,
        ring=whom_to_ring(desk.bearing.place.site, desk.memory.on, desk.record.settings) if rings else "",
        rounds=rounds,
        seen=seen,
        works=works,
        previous=previous,
        next=next_step(desk, rounds, scraping),
        previous_verdict=desk.rules.verdict_on(previous) if previous else None,
        left_out=left_out_words(desk),
        photos=photos_of(desk.bearing, desk.visit),
        may_photo=photos_allowed(desk),
        as_left=desk.rules.worked,
        stages=Stage,
        open_found=desk.rules.open_stations(Stage.AS_FOUND),
        derived=bore_minus_journal(desk.rules),
        opening_words=""
        if desk.rules.work == NEW_METAL
        else desk.record.opening.words(unit, printed=bool(rounds)),
        sides=_other_sides(desk),
        may_scrape=scraping.offered,
        rivals=rivals_shown(desk),
    )
    return render(desk.request, "inspections/record_overview.html", context)


def who_of(desk: Desk, one: Reading) -> str:
    """ "A. Fitter, written down by B. Clerk, checked by C. Chief, as named by B. Clerk": as far as they are
    three.
    """
    measured, wrote, checked = (
        desk.record.names.get(pk, "") if pk else ""
        for pk in (one.measured_by, one.recorded_by, one.checked_by)
    )
    words = [measured] + ([f"written down by {wrote}"] if wrote and wrote != measured else [])
    if checked:
        words.append(f"checked by {checked}")
        words.append("signed" if one.checked_by in desk.record.signed_checks else f"as named by {wrote}")
    if one.checked_by is not None and one.checked_by == one.measured_by:
        words.append("measured and checked by the same person")
    return ", ".join(word for word in words if word)


def left_out_words(desk: Desk) -> list[tuple[str, str]]:
    """(where, why) of what was not measured."""
    return [
        (
            f"{STAGE_WORDS[one.stage]}, {with_station(one.quantity, Station(one.end, one.clock))}",
            str(one.get_because_display()),
        )
        for one in desk.record.left_out
    ]


def _other_sides(desk: Desk) -> list[tuple[str, str]]:
    """The pump's other bearings: their overview in the same visit."""
    rows = desk.bearing.place.bearings.standing()
    return [(one.name, bearing_address(one, "record-overview")) for one in rows if one.pk != desk.bearing.pk]


def next_step(desk: Desk, rounds: list[ContactCheck], scraping: Scraping) -> tuple[str, str]:
    """The one step that comes next: its address and what its button says."""
    if desk.rules.open_stations(Stage.AS_FOUND) and not desk.rules.work and not desk.record.readings:
        return desk.screens.address("record-reading", stage=Stage.AS_FOUND), "Measure as found"
    asking = [one for one in last_rounds(rounds) if one.event.outcome == "scrape"]
    if asking and _scraped_since(desk, asking[0]):
        half = {"half": asking[0].half} if asking[0].half == "upper" else {}
        return desk.screens.address("record-check", **half), f"Check again, round {asking[0].round + 1}"
    if asking and not scraping.offered:
        return desk.screens.address("record-close"), word_of(desk.rules).word.capitalize()
    if asking:
        return (
            desk.screens.address("record-print", check=asking[0].pk),
            f"Round {asking[0].round}: scrape, then check again",
        )
    if desk.rules.worked and desk.rules.open_stations(Stage.AS_LEFT):
        return desk.screens.address("record-reading", stage=Stage.AS_LEFT), "Measure as left"
    if scraping.stands:
        return _settles(desk, rounds, scraping.stands[0])
    return desk.screens.address("record-close"), "Finish"


def _settles(desk: Desk, rounds: list[ContactCheck], row: Standing) -> tuple[str, str]:
    """The step that a row of the pump's table asks for: another print, another measurement, else the closing
    page, which names whom to ring.
    """
    of, _, thing = row.key.partition(" ")
    measured = [one for one in desk.record.readings if one.counts and one.quantity == "clearance"]
    latest = [one for one in measured if one.stage == measured[-1].stage]  # what lies there now
    printed_after = of == "print" and any(one.repeat > 1 for one in latest)  # measured again already
    if row.word == REPEAT or (row.word == MEASURE and printed_after):
        half = next((one.half for one in last_rounds(rounds) if str(one.pk) == thing), "")
        more = {"half": half} if half == "upper" else {}
        return desk.screens.address("record-check", **more), "Repeat the print"
    if row.word == MEASURE and measured:
        widest = max(measured, key=lambda one: one.value_um or 0.0)
        again = next((one for one in measured if str(one.pk) == thing), widest)
        query = {"stage": again.stage, "at": Station(again.end, again.clock).key, "again": again.pk}
        return desk.screens.address("record-reading", **query), "Measure again"
    return desk.screens.address("record-close"), row.word.capitalize()


def _scraped_since(desk: Desk, check: ContactCheck) -> bool:
    last = check.event
    return any(
        one.kind == EventKind.SCRAPE and (one.on, one.order) > (last.on, last.order)
        for one in desk.record.events
    )
