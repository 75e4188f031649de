"""One open bearing as the table of `word_at_pump` asks for it: what was seen, printed, measured and done in
its visit.

`rules` are those of one bearing in its visit; nothing is stored here.
"""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from fleet.models import LimitUse, Setting, Site
from fleet.models.recorded import IN_ORDER, is_later
from inspections.models import (
    EFFECTS,
    WORK,
    ContactCheck,
    Disposition,
    Effect,
    Event,
    EventKind,
    Reading,
    Stage,
)
from inspections.story.observations import observations
from inspections.visits.contact_facts import check_facts
from inspections.visits.contact_rounds import last_rounds
from inspections.visits.damage_words import AS_IT_SHOULD_BE
from inspections.visits.diameters import bore_minus_journal
from inspections.visits.expectations import NEW_METAL
from inspections.visits.quantities import with_station
from inspections.visits.shell_words import of_facts, shell_allows
from inspections.visits.stations import Station
from inspections.visits.trigger_at_pump import FINDING_WAITS, Clearance, by_trigger
from inspections.visits.verdict import WORDS as VERDICTS
from inspections.visits.verdict import Held, Verdict, verdict, verdict_of_interval, with_unit
from inspections.visits.visit_rules import VisitRules
from inspections.visits.word_at_pump import (
    ABOVE,
    ASKS_SCRAPING,
    BELOW,
    BY_RULE,
    CARRIES,
    CLOSE_UP,
    HOLD,
    HOLD_SETTING,
    HOLD_WORDS,
    NOTE_SETTING,
    NOTE_WORDS,
    REPEAT,
    RING_SETTING,
    Advice,
    Answer,
    Print,
    Ruling,
    Situation,
    Standing,
    Trigger,
    advise,
    before_closing,
    listed,
    may_scrape,
)
from inspections.visits.word_at_pump import Held as NotInside

TIGHT, LOOSE = VERDICTS[:2], VERDICTS[3:]
_OF_SHELL = {"lower half": ("", "lower"), "upper half": ("", "upper"), "backs": ("",)}
_NEW_JOURNAL = (EventKind.JOURNAL_REGRIND, EventKind.ROTOR_CHANGE, EventKind.PUMP_CHANGE)


def situation_of(rules: VisitRules) -> Situation:
    """What is known of the bearing now; a visit must be open."""
    scrapeable, seat = of_facts(rules.record.before.known.facts)
    worked = any(one.kind in WORK for one in rules.record.happened)
    derived = bore_minus_journal(rules)
    whole = worked and not derived and all(one.kind != EventKind.OPENED for one in rules.record.events)
    excused = [
        Station(one.end, one.clock).words
        for one in rules.record.left_out
        if one.stage == Stage.AS_LEFT and one.quantity == "clearance"
    ]
    held = [*_held(rules), *_derived(rules, derived)]
    over = any(one.side == ABOVE and one.again and not one.fitting for one in held)
    return Situation(
        damage=damage_of(rules),
        seen=seen_of(rules),
        prints=_prints(rules, seat),
        scrapeable=scrapeable,
        held=held,
        rivals={" ".join(str(r.pk) for r in rows): _where(rows[0]) for rows in rules.rivals()},
        doubted=dict(_doubted(rules)),
        worked=worked,
        unmeasured=[one.words for one in rules.open_stations(Stage.AS_LEFT)] if whole else [],
        excused=excused if whole else [],
        measured=bool(rules.record.readings),
        wrong_limit=rules.record.opening.wrong_limit if over else "",
        answers=_answers(rules),
    )


def word_of(rules: VisitRules) -> Advice:
    """The word at the pump as the record stands now: the table, below it the trigger of the one judgement."""
    return advise(situation_of(rules), _rule_of(rules))


def _rule_of(rules: VisitRules) -> Trigger:
    """The rule below the table; what it needs is read only where it is asked."""

    def rule(owed: bool) -> Ruling:
        opening = rules.record.opening
        ruling = by_trigger(opening, larger_end_now(rules), rules.work == NEW_METAL)(owed)
        waits = opening.judgement.contact_open and not owed and ruling.word == CLOSE_UP
        if not waits or rules.work == NEW_METAL or rules.record.rounds:
            return ruling
        return Ruling(REPEAT, FINDING_WAITS)

    return rule


@dataclass(frozen=True)
class Scraping:
    """Whether scraping is one of the steps, what stands before a print's headline where its advice is not to
    be followed, and what the pump's next step says of the bearing.
    """

    offered: bool
    before: str = ""
    stands: tuple[Standing, ...] = ()


def scraping_of(rules: VisitRules, check: UUID | None = None, outcome: str = "") -> Scraping:
    """What the record as it stands says of scraping; of a print whose cells changed by its outcome as they
    are now.
    """
    scrapeable, seat = of_facts(rules.record.before.known.facts)
    now = situation_of(rules)
    if check is not None:
        prints = [one if one.key != str(check) else replace(one, outcome=outcome) for one in now.prints]
        now = replace(now, prints=prints)
    offered = shell_allows(scrapeable, seat) and may_scrape(now, _rule_of(rules))
    stands = before_closing(now)
    if check is None and not stands and larger_end_now(rules) is not None:
        # The trigger's own word, as soon as a clearance was measured, where it is not to close up.
        stands = tuple(row for row in advise(now, _rule_of(rules)).standing if row.key.startswith(BY_RULE))
    word = ""
    if outcome == CARRIES:
        word = HOLD if stands and stands[0].word == HOLD else ""
    elif not offered and any(one.outcome == ASKS_SCRAPING for one in now.prints):
        word = advise(now, _rule_of(rules)).word
    return Scraping(offered, f"{word.capitalize()}. The print: " if word else "", stands)


def larger_end_now(rules: VisitRules) -> Clearance | None:
    """The larger end by this visit's readings: as left where it was measured so, else as found; methods by
    their spreads.
    """
    record = rules.record
    story = record.story
    own = [m for m in story.measured if record.visit and m.visit == record.visit.pk]
    seen = [o for o in observations(own, story.load_side) if o.series == "clearance"]
    seen = [o for o in seen if o.stage == Stage.AS_LEFT] or [o for o in seen if o.stage == Stage.AS_FOUND]
    if not seen:
        return None
    unit = next((r.unit for r in reversed(record.readings) if r.pk in seen[-1].readings), "mm")
    places = [
        (m.stage, m.end, m.clock) for m in own if m.quantity == "clearance" and m.stage == seen[0].stage
    ]
    again = len(seen) > 1 or len(set(places)) < len(places)
    sds = [rules.sd_um(o.method, o.step_um, o.conditions) for o in seen]
    values = [(o.larger_um, 1.0 / sd**2) for o, sd in zip(seen, sds, strict=True) if o.larger_um is not None]
    if not values:
        return Clearance(None, sds[-1], seen[-1].low_um, seen[-1].high_um, again, unit)
    weight = sum(w for _, w in values)
    return Clearance(sum(v * w for v, w in values) / weight, weight**-0.5, again=again, unit=unit)


def whom_to_ring(site: Site, day: dt.date, settings: Any = Setting.objects) -> str:
    """Whom to ring, as the plant has it."""
    return str(settings.in_force(RING_SETTING, site, day) or "the engineer of the site")


def for_device(site: Site, day: dt.date, settings: Any = Setting.objects) -> dict[str, Any]:
    """What a device takes along to say "hold" by itself: the hold list and whom to ring."""
    hold = _list(site, day, HOLD_SETTING, HOLD_WORDS, settings)
    return {"hold": hold, "ring": whom_to_ring(site, day, settings)}


# What was seen ---------------------------------------------------------------------------------------------


def _list(
    site: Site, day: dt.date, name: str, default: tuple[str, ...], settings: Any = Setting.objects
) -> list[str]:
    found = settings.in_force(name, site, day)
    return list(default if found is None else found)


def _holds(rules: VisitRules) -> list[str]:
    return _list(
        rules.record.bearing.place.site,
        rules.record.memory.on,
        HOLD_SETTING,
        HOLD_WORDS,
        rules.record.settings,
    )


def _notes(rules: VisitRules) -> list[str]:
    return _list(
        rules.record.bearing.place.site,
        rules.record.memory.on,
        NOTE_SETTING,
        NOTE_WORDS,
        rules.record.settings,
    )


def damage_of(rules: VisitRules) -> dict[str, str]:
    """Key -> "part: word" of each finding on the hold list that new metal, or a new journal, has not taken
    away.
    """
    words, found = _holds(rules), {}
    for n, event in enumerate(rules.record.happened):
        for said in listed(_ticked(event), words):
            part = said.split(":", 1)[0]
            if not any(_takes_away(later, part) for later in rules.record.happened[n + 1 :]):
                found[f"{event.pk} {said}"] = said
    return found


def noted_of(rules: VisitRules) -> list[str]:
    """What was found that the plant wants a photo of: damage on either list."""
    both = [*_holds(rules), *_notes(rules)]
    return [said for event in rules.record.happened for said in listed(_ticked(event), both)]


def seen_of(rules: VisitRules) -> list[str]:
    """What was found that does not hold, and what was remarked in words."""
    holds, said = set(_holds(rules)), []
    for event in rules.record.happened:
        for one in event.findings.all() if event.kind == EventKind.FOUND else ():
            words = [w for w in one.words if w not in AS_IT_SHOULD_BE and not {w, f"{one.part}: {w}"} & holds]
            if words or one.note:
                said.append(f"{one.part}: {', '.join([*words, *([one.note] if one.note else [])])}")
    return said


def _ticked(event: Event) -> dict[str, list[str]]:
    return (
        {one.part: list(one.words) for one in event.findings.all()} if event.kind == EventKind.FOUND else {}
    )


def _takes_away(later: Event, part: str) -> bool:
    if part in _OF_SHELL:
        return EFFECTS.get(later.kind) == Effect.NEW_METAL and later.half in _OF_SHELL[part]
    return part == "journal" and later.kind in _NEW_JOURNAL


# Prints ----------------------------------------------------------------------------------------------------


def _prints(rules: VisitRules, seat: str) -> list[Print]:
    """The last print of each half that still shows the shell that lies there."""
    rounds = rules.record.rounds
    place = {event.pk: n for n, event in enumerate(rules.record.happened)}
    found = []
    for one in last_rounds(rounds):
        at, half = place.get(one.event_id, -1), one.half or "lower"
        later = rules.record.happened[at + 1 :]
        if any(_takes_away(event, f"{half} half") for event in later):
            continue
        found.append(
            Print(
                key=str(one.pk),
                half=half,
                outcome=_outcome(one, rules),
                engineer=bool(one.conditions.get("engineer")),
                said=str(one.conditions.get("headline", "")),
                scraped_since=any(_was_of(event, half, rounds, place) for event in later),
                spherical=seat == "spherical",
            )
        )
    return found


def _outcome(check: ContactCheck, rules: VisitRules) -> str:
    """A print's outcome now: one that fits but for a clearance measured once is accepted when that was
    confirmed since.
    """
    if check.conditions.get("code") == "clearance_open":
        record = rules.record
        now = check_facts({"half": check.half}, record.before, record.visit, record.bearing)
        return CARRIES if now.measured_twice else str(check.event.outcome)
    return check.event.outcome or "void"


def _was_of(event: Event, half: str, rounds: Sequence[ContactCheck], place: Mapping[Any, int]) -> bool:
    """Whether a scrape was of a half: as said, else of the halves whose print before it asked for one, else
    of both.
    """
    if event.kind != EventKind.SCRAPE:
        return False
    if event.half:
        return event.half == half
    before = [one for one in rounds if place.get(one.event_id, -1) < place[event.pk]]
    asking = {one.half or "lower" for one in last_rounds(before) if one.event.outcome == ASKS_SCRAPING}
    return half in asking if asking else True


# Readings --------------------------------------------------------------------------------------------------


def _judged(rules: VisitRules, reading: Reading, held: Held) -> Verdict:
    sd = rules.sd_of(reading)
    if reading.value_um is None:
        low, high = (None if end is None else float(end) for end in (reading.low_um, reading.high_um))
        return verdict_of_interval(low, high, sd, reading.unit, held)
    return verdict(float(reading.value_um), sd, reading.unit, held)


def _changed(rules: VisitRules) -> bool:
    """Whether what was found lies there no more: new metal, shims or a journal changed
    the clearance since.
    """
    new = (Effect.NEW_METAL, Effect.NEW_BASELINE)
    return any(EFFECTS.get(one.kind) in new for one in rules.record.happened)


def _stands(rules: VisitRules) -> list[Reading]:
    """The readings that say what lies there now: those that count, as found only where nothing has replaced
    it.
    """
    changed = _changed(rules)
    return [r for r in rules.record.readings if r.counts and not (changed and r.stage == Stage.AS_FOUND)]


def _again(rules: VisitRules, reading: Reading) -> bool:
    at = (reading.stage, reading.quantity, reading.end, reading.clock)
    return sum((r.stage, r.quantity, r.end, r.clock) == at for r in rules.record.readings) > 1


def _where(reading: Reading) -> str:
    return (
        f"{reading.get_stage_display()},"
        f" {with_station(reading.quantity, Station(reading.end, reading.clock))}"
    )


def _held(rules: VisitRules) -> Iterator[NotInside]:
    """Each station's reading that is not surely inside, against both limits, as found and as left."""
    limit = {str(use): rules.record.limits.get(("clearance", str(use))) for use in LimitUse.values}
    service = Held(limit[LimitUse.IN_SERVICE_MIN], limit[LimitUse.IN_SERVICE_MAX])
    fitting = Held(limit[LimitUse.FITTING_MIN], limit[LimitUse.FITTING_MAX], "fitting range")
    scraped = any(one.kind == EventKind.SCRAPE for one in rules.record.happened)
    for one in _stands(rules):
        if one.quantity == "wall":
            yield from _wall(rules, one)
        if one.quantity != "clearance":
            continue
        if one.stage == Stage.AS_LEFT and rules.work == NEW_METAL:
            said = _judged(rules, one, fitting)
            if max(said.p_low, said.p_high) >= 0.5:
                yield _not_inside(
                    rules, one, BELOW if said.p_low >= said.p_high else ABOVE, said.text, fitting=True
                )
                continue
        said = _judged(rules, one, service)
        # Metal came off after it was found: what is left there is measured as left.
        if said.word in TIGHT and not (scraped and one.stage == Stage.AS_FOUND):
            yield _not_inside(rules, one, BELOW, said.text)
        elif said.word in LOOSE:
            yield _not_inside(rules, one, ABOVE, said.text)


def _wall(rules: VisitRules, one: Reading) -> Iterator[NotInside]:
    least = rules.held(one.stage, "wall").low_um
    if least is not None and _judged(rules, one, Held(least, None)).word in TIGHT:
        yield _not_inside(rules, one, ABOVE, f"At or under its least of {with_unit(least, one.unit)}.")


def _not_inside(rules: VisitRules, one: Reading, side: str, said: str, *, fitting: bool = False) -> NotInside:
    return NotInside(f"{side} {one.pk}", side, _where(one), said, _again(rules, one), fitting)


def _derived(rules: VisitRules, made: Sequence[tuple[str, str, Verdict]]) -> Iterator[NotInside]:
    """Bore minus journal, where the clearance itself was not measured."""
    if any(one.quantity == "clearance" for one in rules.record.readings):
        return
    again = any(_again(rules, one) for one in rules.record.readings if one.quantity == "bore")
    for stage, value, said in made:
        side = BELOW if said.word in TIGHT else ABOVE if said.word in LOOSE else ""
        if side and not (_changed(rules) and stage == Stage.AS_FOUND.label):
            yield NotInside(
                f"{side} {stage} {value}", side, f"bore minus journal, {stage}, {value}", said.text, again
            )


def _doubted(rules: VisitRules) -> Iterator[tuple[str, str]]:
    for one in _stands(rules):
        if one.repeat == 1 and not one.supersedes and not _again(rules, one) and rules.verdict_on(one).asked:
            yield str(one.pk), _where(one)


# Dispositions ----------------------------------------------------------------------------------------------


def _answers(rules: VisitRules) -> list[Answer]:
    record = rules.record
    rows = (
        Disposition.objects.standing().filter(visit=record.visit, bearing=record.bearing).order_by(*IN_ORDER)
    )
    works = [one for one in record.happened if one.kind in WORK]
    return [
        Answer(str(row.answer), frozenset(row.answers), any(is_later(work, row) for work in works))
        for row in rows
    ]
