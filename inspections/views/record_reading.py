"""One station at the pump: the number, its verdict at once, the next station; and which other quantity or
station comes.
"""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect, render

from fleet.end_words import END_WORDS
from fleet.measuring_methods import METHODS, is_fine, words_of
from inspections.models import Basis, Reading, Stage
from inspections.records.openings import NotRecorded
from inspections.story.measuring_conditions import EXCEPTIONS, exception_words
from inspections.visits import quantities
from inspections.visits.acts import enter
from inspections.visits.desk import Desk, at_the_pump
from inspections.visits.expectations import last_at
from inspections.visits.forms import ReadingForm, new_id
from inspections.visits.gauge_choice import gauges
from inspections.visits.screen_context import device_facts, screen_context, with_words
from inspections.visits.stations import Station, station
from inspections.visits.verdict import SIGN, Expected, Held, Verdict, shown, with_unit

STAGE_WORDS = dict(Stage.choices)


@at_the_pump
def reading(desk: Desk) -> HttpResponse:
    """One station of one quantity; without a station named, the next that is open."""
    request = desk.request
    stage = request.GET.get("stage", Stage.AS_FOUND)
    stage = stage if stage in Stage.values else str(Stage.AS_FOUND)
    quantity = quantities.asked(request.GET.get("quantity", "")).name
    key = request.GET.get("at", "")
    where = station(key) if key else next(iter(desk.rules.open_stations(stage, quantity)), None)
    if where is None:
        return redirect(desk.screens.address("record-overview"))
    earlier = reading_of(desk, request.GET.get("again"))
    form = (
        ReadingForm(request.POST)
        if request.method == "POST"
        else ReadingForm(initial=_remembered(desk, quantity))
    )
    if request.method == "POST" and form.is_valid():
        try:
            return _entered(desk, form, stage, quantity, where, earlier)
        except NotRecorded as fault:
            form.add_error("value", str(fault))
    context = screen_context(desk, **_screen(desk, form, stage, quantity, where, earlier))
    return render(request, "inspections/record_reading.html", context)


def _entered(
    desk: Desk, form: ReadingForm, stage: str, quantity: str, where: Station, earlier: Reading | None
) -> HttpResponse:
    """Store a reading and lead on: to a second measurement where it is unlikely, else to the next station."""
    said = form.cleaned_data
    assert desk.visit is not None
    facts = form.facts()
    setup = {name: said[name] for name in ("unit", "method", "less")} | {"gauge": facts["instrument"]}
    desk.memory.remember(
        **{f"setup {quantity}": setup, "basis": said["basis"], "exceptions": said["exceptions"]}
    )
    stored = enter(
        visit=desk.visit,
        bearing=desk.bearing,
        on=desk.memory.on,
        by=desk.person,
        id=said["id"],
        instead_of=earlier,
        stage=stage,
        station="" if where.key == "any" else where.key,
        quantity=quantity,
        measured_by=desk.memory.measured_by,
        checked_by=desk.memory.checked_by,
        **facts,
    )
    desk.record.forget()
    if stored.repeat == 1 and desk.rules.verdict_on(stored).asked:
        again = desk.screens.address(
            "record-reading", stage=stage, **_named(quantity), at=where.key, again=stored.pk
        )
        return redirect(again)
    return redirect(next_address(desk, stage, stored, quantity))


def _named(quantity: str) -> dict[str, str]:
    """The quantity as an address says it: a clearance is not named."""
    return {} if quantity == "clearance" else {"quantity": quantity}


def next_address(desk: Desk, stage: str, stored: Reading | None, quantity: str = "clearance") -> str:
    """The next station that is open of a quantity, else the overview."""
    more = {"last": stored.pk} if stored else {}
    if desk.rules.open_stations(stage, quantity):
        return desk.screens.address("record-reading", stage=stage, **_named(quantity), **more)
    return desk.screens.address("record-overview", **more)


def _remembered(desk: Desk, quantity: str) -> dict[str, Any]:
    kept, setup = desk.memory.kept, desk.rules.setup_for(quantity)
    mine = desk.memory.setup(quantity)
    return {
        "id": new_id(),
        "unit": setup.unit,
        "method": setup.method,
        "basis": kept.get("basis", "diametral"),
        "exceptions": kept.get("exceptions", []),
        "instrument": mine.get("gauge", ""),
        "less": mine.get("less", ""),
    }


def _screen(
    desk: Desk, form: ReadingForm, stage: str, quantity: str, where: Station, earlier: Reading | None
) -> dict[str, Any]:
    setup, asked = desk.rules.setup_for(quantity), quantities.asked(quantity)
    unit = str(form["unit"].value() or setup.unit)
    method = str(form["method"].value() or setup.method)
    held, expected = desk.rules.held(stage, quantity), desk.rules.expected(stage, where, quantity)
    last = last_at(desk.record.before.known, where, quantity)
    stations = desk.rules.stations_for(quantity)
    place = f"{stations.index(where) + 1} of {len(stations)}" if where in stations else ""
    previous = reading_of(desk, desk.request.GET.get("last"))
    here = {"stage": stage, **_named(quantity), "at": where.key}
    return _second(desk, earlier) | {
        "place_words": ", ".join(part for part in (place and f"station {place}", where.words) if part),
        "device": device_facts(
            desk, "reading", stage, where, earlier.pk if earlier else "", quantity=quantity
        ),
        "form": form,
        "stage": stage,
        "stage_words": STAGE_WORDS[stage],
        "where": where,
        "asked": asked,
        "previous": previous,
        "previous_verdict": desk.rules.verdict_on(previous) if previous else None,
        "unit": unit,
        "unit_words": dict(form.fields["unit"].choices).get(unit, unit),  # type: ignore[attr-defined]
        "method": method,
        "method_words": METHODS[method].words if method in METHODS else "method not known",
        "facts_line": facts_line(last, expected, unit),
        "skip": next_address(desk, stage, None, quantity) if earlier else "",
        "could_not": desk.screens.address("record-could-not", **here),
        "people_at": desk.screens.address("record-people", then="reading", **here),
        "other_at": desk.screens.address("record-other", stage=stage, quantity=quantity),
        "book": desk.record.book,
        "book_by": desk.record.names.get(desk.record.book.by, ""),  # type: ignore[arg-type]
        "cards": [
            (name, words_of(name), one.card, desk.record.names.get(one.by, ""), one.on)
            for name, one in desk.record.method_cards.items()
        ],
        "exception_words": exception_words(dict.fromkeys(form["exceptions"].value() or [], True)),
        "gauges": gauges(method, desk.memory.on),
        "gauge": form["instrument"].value() or "",
        "data": verdict_data(desk, held, expected, unit),
        "step": _step(unit, method),
    }


def _second(desk: Desk, earlier: Reading | None) -> dict[str, Any]:
    """What the screen of a second measurement says of the first."""
    if earlier is None:
        return {"earlier": None}
    said = desk.rules.verdict_on(earlier)
    value, unit = mended_as(earlier, said)
    return {
        "earlier": earlier,
        "earlier_unit": SIGN.get(earlier.unit, earlier.unit),
        "earlier_verdict": said,
        "mend_address": desk.screens.address("record-mend", reading=earlier.pk),
        "mended_value": value,
        "mended_unit": unit,
        "mended_unit_words": SIGN.get(unit, unit),
    }


def mended_as(earlier: Reading, said: Verdict) -> tuple[str, str]:
    """What a likely slip is put right to, value and unit: the same number in the unit it was meant in, else
    the number.
    """
    if said.mended_um is None:
        return "", ""
    if said.mended_unit:
        return earlier.typed, said.mended_unit
    if earlier.value_um is None:  # bounds of another number are typed anew
        return "", ""
    typed_um = said.mended_um / 2 if earlier.basis == Basis.RADIAL else said.mended_um
    return shown(typed_um, earlier.unit), earlier.unit


def facts_line(last: Any, expected: Expected | None, unit: str) -> str:
    """ "Last time 8.8 · expected 8.6 to 9.3 thou"."""
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
    fine = is_fine(method)
    return {
        "mm": "0.001" if fine else "0.01",
        "um": "1" if fine else "10",
        "in": "0.0001" if fine else "0.0005",
    }.get(unit, "0.1" if fine else "0.5")


def verdict_data(desk: Desk, held: Held, expected: Expected | None, unit: str) -> dict[str, Any]:
    """What the browser needs to say the same at once."""
    methods = {name: spread.sd_um for name, spread in desk.record.trust.items()}
    return {
        "held": vars(held),
        "expected": vars(expected) if expected else None,
        "unit": unit,
        "sd": methods,
        "exceptions": {name: sd for name, (_, sd) in EXCEPTIONS.items()},
    }


def reading_of(desk: Desk, pk: str | None) -> Reading | None:
    """A reading of this visit by its id; None for any other."""
    named = (row for row in desk.record.readings if pk and str(row.pk) == pk)
    return next((with_words(desk, row) for row in named), None)


@at_the_pump
def other(desk: Desk) -> HttpResponse:
    """Another quantity, or a station the plan does not name: chosen here, then measured
    on the usual screen.
    """
    asked = desk.request.GET
    end, clock = asked.get("end", ""), asked.get("clock", "")
    stage = asked.get("stage", "") or str(Stage.AS_LEFT if desk.rules.work else Stage.AS_FOUND)
    if "go" in asked:
        where = {"at": f"{end}-{clock}".strip("-") or "any"} if "named" in asked else {}
        return redirect(desk.screens.address("record-reading", stage=stage, quantity=asked["go"], **where))
    context = screen_context(
        desk,
        asked=quantities.ASKED.values(),
        ends=END_WORDS.items(),
        clocks=range(1, 13),
        stages=Stage.choices,
        chosen=quantities.asked(asked.get("quantity", "")).name,
        stage=stage,
    )
    return render(desk.request, "inspections/record_other.html", context)
