"""Closing a visit: advice and decision for each bearing that was recorded, what was not measured of the whole
pump, signatures.
"""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import redirect, render

from fleet.models import Bearing
from fleet.models.recorded import LAST_FIRST
from inspections.forecasts.current_forecasts import current
from inspections.models import Closing, Decision, EventKind, NotMeasured, Stage, Visit
from inspections.records.openings import NotRecorded
from inspections.views.closing_list import ClosingList
from inspections.views.record_contact import keep_all_tapped
from inspections.visits import acts, dispositions, metal_removed
from inspections.visits.acts import CHECKED, decide
from inspections.visits.desk import Desk, at_the_pump
from inspections.visits.device_memory import from_a_sheet
from inspections.visits.expectations import SCRAPED
from inspections.visits.forms import new_id, uuid_of_form
from inspections.visits.open_bearing import noted_of, whom_to_ring, word_of
from inspections.visits.photos import photos_of
from inspections.visits.screen_context import screen_context
from inspections.visits.signatures import signers_at
from inspections.visits.stations import Station
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, HOLD, REPLACE, WORDS, Advice


@dataclass
class Missing:
    """What is neither measured nor said not to be: one station, or (`where` empty) a
    bearing nobody touched.
    """

    key: str
    words: str
    desk: Desk
    stage: str
    where: Station | None = None
    guess: str = ""

    @property
    def stations(self) -> list[Station]:
        """The station, or all of a bearing nobody touched: asked for only where it is stored."""
        return [self.where] if self.where else self.desk.rules.usual_stations()


@dataclass
class Side:
    """One bearing of the pump at closing: its advice, what it cost, and the decision made already."""

    desk: Desk
    figures: Any
    advice: Advice
    removed: str
    made: Decision | None

    @property
    def mine(self) -> str:
        """What its fields' names end with: nothing for the bearing one stands at."""
        return f" {self.desk.bearing.pk}" if self.desk.aside else ""

    @property
    def goes_on(self) -> bool:
        """Whether the word lets the bearing be closed up, with this shell or a new one."""
        return self.advice.word in (CLOSE_UP, REPLACE)

    @property
    def ring(self) -> str:
        """Whom to ring, where the word asks for somebody."""
        if self.advice.word not in (HOLD, ENGINEER):
            return ""
        return whom_to_ring(self.desk.bearing.place.site, self.desk.memory.on, self.desk.record.settings)

    @property
    def photo_wanted(self) -> list[str]:
        """What was found that a photo is wanted of, and there is none in this visit."""
        noted = noted_of(self.desk.rules)
        return [] if noted and photos_of(self.desk.bearing, self.desk.visit) else noted

    @property
    def disposition(self) -> str:
        """Where the engineer signs; empty where nothing stands that could be answered."""
        desk = self.desk
        return (
            desk.screens.address("disposition", visit=desk.visit.pk)
            if self.advice.keys and desk.visit
            else ""
        )

    @property
    def list(self) -> ClosingList:
        """The closing list as asked for, answered as this request has it."""
        return ClosingList(self.desk, self.mine)


@at_the_pump
def close(desk: Desk) -> HttpResponse:
    """The advice, the decision and why, what was not measured and why, the signatures; then the receipt."""
    keep_all_tapped(desk)
    desks = desks_of(desk)
    sides = sides_of(desks)
    missing = [one for some in desks for one in missing_of(some)]
    needed = signatures_needed(desk)
    if desk.request.method == "POST":
        try:
            visit = _closed(desk, sides, missing, needed)
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
        else:
            desk.request.session.pop(from_a_sheet(desk.bearing.place_id), None)
            return redirect(desk.screens.address("record-receipt", visit=visit.pk))
    context = screen_context(
        desk,
        advice=sides[0].advice,
        side=sides[0],
        others=sides[1:],
        choices=WORDS,
        missing=missing,
        sides=sides,
        goes_on=all(one.goes_on for one in sides),
        reasons=NotMeasured.Because.choices,
        checked_needed=CHECKED in needed,
        checker=desk.memory.checked_by,
        people=[signer for signer in signers_at(desk.bearing.place.site) if signer.pk != desk.person],
        post=desk.request.POST,
    )
    return render(desk.request, "inspections/record_close.html", context)


def desks_of(desk: Desk) -> list[Desk]:
    """The bearing one stands at, then the pump's others, all in the same visit."""
    rows = desk.bearing.place.bearings.standing().select_related("place__site").order_by("folded")
    others = [one for one in rows if one.pk != desk.bearing.pk]
    return [desk, *(desk.beside(one) for one in others)]


def sides_of(desks: list[Desk]) -> list[Side]:
    """What is decided at closing: the bearing one stands at, and each other one that was recorded and not
    decided yet.
    """
    used = [one for one in desks if not one.aside or touched(one)]
    made = {one.bearing.pk: decision_of(one.visit, one.bearing) for one in used if one.visit}
    used = [one for one in used if not one.aside or made[one.bearing.pk] is None]
    figures = current([one.bearing for one in used], desks[0].today)
    return [
        Side(
            one,
            figures[one.bearing.pk],
            word_of(one.rules),
            removed_words(one, figures[one.bearing.pk]),
            made[one.bearing.pk],
        )
        for one in used
    ]


def touched(desk: Desk) -> bool:
    """Whether anything was recorded of a bearing in this visit."""
    return bool(desk.record.readings or desk.record.events or desk.record.left_out)


def removed_words(desk: Desk, figures: Any) -> str:
    """Metal removed and its cost, where it was scraped in this visit."""
    if desk.rules.work != SCRAPED:
        return ""
    sides: dict[str, list[tuple[float, float]]] = {"as_found": [], "as_left": []}
    for r in desk.record.readings:
        if r.quantity == "clearance" and r.counts and r.value_um is not None:
            sides[r.stage].append((float(r.value_um), desk.rules.sd_of(r)))
    taken = metal_removed.removed(sides["as_found"], sides["as_left"], desk.rules.usual_step)
    return metal_removed.cost_words(taken, figures)


def signatures_needed(desk: Desk) -> list[str]:
    """The signatures the plant asks for; none unless it has said so."""
    return list(desk.record.settings.in_force("signatures", desk.bearing.place.site, desk.memory.on) or [])


def missing_of(desk: Desk) -> list[Missing]:
    """What is neither measured nor said not to be: of a bearing nobody touched as a whole, else station by
    station.
    """
    if any(one.kind == EventKind.OPENED for one in desk.record.events) or bores_measured(desk):
        return []
    bearing, name = desk.bearing, f"{desk.bearing.name}: " if desk.aside else ""
    if desk.aside and not touched(desk):
        words = f"{desk.bearing.name}: nothing was recorded of it"
        return [Missing(f"all {bearing.pk}", words, desk, "as_found", guess="not_opened")]
    stages = [Stage.AS_FOUND] + ([Stage.AS_LEFT] if desk.rules.worked else [])
    ending = f" {bearing.pk}" if desk.aside else ""
    return [
        Missing(f"{stage} {where.key}{ending}", f"{name}{stage.label}, {where.words}", desk, stage, where)
        for stage in stages
        for where in desk.rules.open_stations(stage)
    ]


def bores_measured(desk: Desk) -> bool:
    """Whether bore and journal were measured instead: their difference is the clearance, nothing is missing
    then.
    """
    found = {one.quantity for one in desk.record.readings}
    return {"bore", "journal"} <= found and "clearance" not in found


def _closed(desk: Desk, sides: list[Side], missing: list[Missing], needed: list[str]) -> Visit:
    """Store the decisions, then close; the reasons for what is missing come with it."""
    post, visit = desk.request.POST, desk.visit
    assert visit is not None
    rows = []
    for one in missing:
        because = post.get(f"because {one.key}", one.guess)
        if because not in NotMeasured.Because.values:
            raise NotRecorded(f"Say why this was not measured: {one.words}.")
        rows += [
            NotMeasured(
                id=UUID(new_id()),
                visit_id=visit.pk,
                bearing_id=one.desk.bearing.pk,
                stage=one.stage,
                end=where.end,
                clock=where.clock,
                because=because,
            )
            for where in one.stations
        ]
    with transaction.atomic():
        closings = [_decided(side, post) for side in sides]
        acts.close(
            visit=visit,
            on=desk.memory.on,
            by=desk.person,
            missing=rows,
            checked_by=uuid_of_form(post.get("checked_by")),
            needed=needed,
            closings=dispositions.facts_of(closings),
        )
    return visit


def _decided(side: Side, post: Any) -> Closing:
    decided = post.get(f"decided{side.mine}", side.advice.word)
    if decided not in WORDS:
        raise NotRecorded(f"Decide one of: {', '.join(WORDS)}.")
    items, faults = side.list.answered(post)
    if faults and decided == CLOSE_UP:
        name = f"{side.desk.bearing.name}: " if side.desk.aside else ""
        raise NotRecorded(f"{name}{faults[0]}")
    decide(
        bearing=side.desk.bearing,
        on=side.desk.memory.on,
        advised=dispositions.SHORT[side.advice.word],
        decided=dispositions.SHORT[decided],
        why=post.get(f"why{side.mine}", ""),
        by=side.desk.person,
        figures=side.figures,
    )
    return dispositions.closing_row(
        bearing=side.desk.bearing,
        visit=side.desk.visit,
        on=side.desk.memory.on,
        advice=side.advice,
        decided=decided,
        why=post.get(f"why{side.mine}", ""),
        items=items,
    )  # type: ignore[arg-type]


def decision_of(visit: Visit, bearing: Bearing) -> Decision | None:
    """The decision made of a bearing in a visit: the last of its days."""
    rows = Decision.objects.standing().filter(
        bearing=bearing, on__gte=visit.opened_on, plan=None, decided__in=dispositions.SHORT.values()
    )
    rows = rows.filter(on__lte=visit.closed_on) if visit.closed_on else rows
    return rows.order_by(*LAST_FIRST).first()
