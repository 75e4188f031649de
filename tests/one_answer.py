"""What each station of the site says of a bearing, as one answer to be compared: list, page, plan, work list,
pump, closing, quality and files.

A station that does not speak of something says None of it; where two speak they must say the same.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from dashboards.outage_plan.plan_sheet import COLUMNS
from dashboards.outage_plan.pump_openings.evaluate import PlannedJob
from dashboards.outage_plan.versions import _recorded
from dashboards.watchlist.ranking import Watched
from dashboards.watchlist.row_strips import note_of, row_axis
from fleet.formatting import chance, day, day_words
from inspections.forecasts.bearing_words import bearing_words
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.frames import SHEET, figures_frame, forecast_sheet
from inspections.forecasts.judgement.judgement_figures import Column, Judgement, Why, Word
from inspections.forecasts.judgement.judgement_sentence import WORDS, reading_words
from inspections.visits.trigger_at_pump import Clearance, Opening, by_trigger, opening_of
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, REPLACE, Situation, advise

SAID_FIRST = {
    "Open in": Word.OPEN,
    "Open at": Word.OPEN,
    "Open on": Word.OPEN,
    "Open since": Word.OPEN,
    "Leave closed": Word.LEAVE,
    "Set a limit": Word.SET_LIMIT,
    "Cannot say": Word.ENGINEER,
    "Over its": Word.DECIDE_NOW,
    "Past its": Word.DECIDE_NOW,
    "Decide now": Word.DECIDE_NOW,
}
ALWAYS, NEVER, NONE, NO_ROOM = "whatever it reads", "no reading", "cannot say", "no room"
CHANCE = r"((?:more than )?\d+ in 10|(?:under )?\d+ in 100)"


@dataclass(frozen=True)
class Answer:
    """`word` of the judgement; `trigger`, `scrape_from` as "226" um or one of the words above; `new`, `past`
    as chances are written.
    """

    word: str | None = None
    opened_on: dt.date | None = None
    trigger: str | None = None
    new: str | None = None
    scrape_from: str | None = None
    past: str | None = None


def stands(judged: Judgement) -> Answer:
    """What stands for a bearing, by the figures all stations read."""
    return at_column(judged, judged.at, judged.word)


def at_column(judged: Judgement, at: Column | None, word: str | None = None) -> Answer:
    """The same of an opening in any column."""
    if at is None or not at.trigger_is:
        return Answer(word, at.start_on if at else None, NONE)
    trigger = {"always": ALWAYS, "never": NEVER}.get(at.trigger_is) or f"{at.trigger_um:.0f}"
    scrape = NO_ROOM if at.no_room else "" if at.scrape_from_um is None else f"{at.scrape_from_um:.0f}"
    return Answer(word, at.start_on, trigger, chance(at.new), scrape, chance(at.past))


def of_sentence(text: str) -> Answer:
    """What one sentence says."""
    text = text.replace("\u00a0", " ")
    word = next((code for said, code in SAID_FIRST.items() if text.startswith(said)), "")
    found = {
        "trigger": _first(text, r"(?<!scraped, )[Rr]eplace from (\d+) µm", r"expected \(from (\d+) µm"),
        "new": _first(text, rf"{CHANCE} it will be", rf"not expected \({CHANCE}\)"),
        "scrape_from": _first(
            text, r"if it must be scraped, replace from (\d+) µm", r"scrape if found below (\d+) µm"
        ),
        "past": _first(text, rf"{CHANCE} to pass"),
    }
    if "whatever it reads" in text:
        found["trigger"] = ALWAYS
    if "No reading that may be expected" in text or "no reading that may be expected" in text:
        found["trigger"] = NEVER
    if "no room to scrape" in text:
        found["scrape_from"] = NO_ROOM
    if word in (Word.SET_LIMIT, Word.ENGINEER):
        found["trigger"] = NONE
    return Answer(word, None, **found)


def _first(text: str, *patterns: str) -> str | None:
    return next((m[1] for pattern in patterns if (m := re.search(pattern, text))), None)


def when_apart(at: Column | None, text: str, today: dt.date) -> Iterator[str]:
    """That a sentence of an opening names its outage."""
    if at is None or of_sentence(text).word in (Word.SET_LIMIT, Word.DECIDE_NOW, Word.ENGINEER):
        return
    if text.startswith("Open since"):
        return
    name = "outage that runs" if at.start_on <= today else day_words(at.start_on, today)
    if name.replace("\u00a0", " ") not in text.replace("\u00a0", " "):
        yield f"does not name {name}: {text}"


def apart(own: Answer, other: Answer) -> Iterator[str]:
    """What two stations both speak of and say differently."""
    for f in fields(Answer):
        one, two = getattr(own, f.name), getattr(other, f.name)
        if one is not None and two is not None and one != two:
            yield f"{f.name} {two}, not {one}"


def open_apart(judged: Judgement, text: str, at: Column | None = None) -> Iterator[str]:
    """That of a pump that stands open it is said since when, and of no other; not of an opening to come."""
    since, told = judged.open_since, re.search("[Oo]pen since ([^:;(]+)", text.replace("\u00a0", " "))
    is_to_come = at is not None and at.start_on > judged.as_of
    if judged.word in (Word.OPEN, Word.DECIDE_NOW, Word.LEAVE) or told:
        said = day(since).replace("\u00a0", " ") if since is not None and not is_to_come else None
        if (told and told[1].strip()) != said:
            yield f"stands open since {said}, and that is not what is said: {text}"


# Stations ------------------------------------------------------------------------------------------------


def in_words(judged: Judgement, text: str) -> Iterator[str]:
    """The one sentence of a bearing."""
    said = of_sentence(text)
    yield from apart(stands(judged), said)
    yield from when_apart(judged.at, text, judged.as_of)
    yield from open_apart(judged, text)
    if "scrape if found" in text and not judged.contact_open:
        yield "told to be scraped, though no contact finding waits at it"
    if said.word == Word.OPEN and said.trigger is None and not (judged.contact_open or judged.open_since):
        yield f"opened without a trigger: {text}"


def listed(row: Watched) -> Iterator[str]:
    """The watch list's row: its word, its sentence, what stands in place of its bar."""
    judged = row.judgement
    assert judged is not None
    yield from in_words(judged, row.says)
    if (note_of(row, row_axis(judged.as_of)) == "limit already passed") != row.is_past:
        yield "the drawing says that its limit is passed and the row does not"
    yield from _passed(row.is_past, judged, row.figures)


def on_page(figures: Figures, judged: Judgement) -> Iterator[str]:
    """The bearing's page and the report of its bundle: dates, word and sentence."""
    words = bearing_words(figures, judged, judged.as_of)
    yield from in_words(judged, words.stands)
    if words.word != WORDS[judged.word]:
        yield f"word {words.word}"
    yield from _passed("Has passed" in words.dates, judged, figures)
    if words.until is not None and words.until not in judged.columns:
        yield "its dots are of a day that is no outage of the judgement"


def _passed(says_passed: bool, judged: Judgement, figures: Figures) -> Iterator[str]:
    """A limit is said to have been passed where a decision is asked for now, or where it is the plant's own
    replace limit.
    """
    of_maximum = (figures["p_max_now"] or 0.0) >= 0.5
    if says_passed and of_maximum and judged.why != Why.PAST:
        yield f"said to have passed its maximum, though the word is {judged.word} ({judged.why})"
    if not says_passed and judged.why == Why.PAST:
        yield "not said to have passed its maximum, though a decision is asked for now"


def planned(job: PlannedJob, start: dt.date, judged: Judgement, wanted: Column | None) -> Iterator[str]:
    """A line of the plan and of the work list, in an outage that starts on a day."""
    at = next((column for column in judged.columns if column.start_on == start), None)
    if at is None:
        yield f"planned on {start}, which is no outage of the judgement"
        return
    own = at_column(judged, at)
    yield from apart(own, of_sentence(job.reason))
    if "scrape if found" in job.reason and not judged.contact_open:
        yield "told to be scraped, though no contact finding waits at it"
    yield from when_apart(at, job.reason, judged.as_of)
    yield from open_apart(judged, job.reason, at)
    figures = Answer(trigger=_um_or(job.trigger_is, job.trigger_um), new=chance(job.p_trigger))
    yield from apart(own, figures) if at.trigger_is else ()
    if wanted is not None and start > wanted.start_on and "wanted" not in job.reason:
        yield "planned later than it is wanted, and not said"
    recorded = _recorded(job, {"bearings": {job.bearing: "b"}, "outages": {job.outage: "o"}})
    if recorded["trigger_um"] != ("" if at.trigger_um is None else f"{at.trigger_um:.0f}"):
        yield f"accepted with the trigger {recorded['trigger_um']}, not {at.trigger_um}"


def in_sheet(row: list[Any], job: PlannedJob, start: dt.date) -> Iterator[str]:
    """The row of the plan's file of one job."""
    cells = dict(zip(COLUMNS, row, strict=True))
    for name in ("trigger_um", "p_trigger", "scrape_from_um", "p_max_before_work", "reason"):
        if cells[name] != getattr(job, name):
            yield f"{name} of the file is {cells[name]}, not {getattr(job, name)}"
    if cells["outage_start"] != start:
        yield f"the file starts its outage on {cells['outage_start']}"


def at_pump(judged: Judgement, opening: Opening | None = None) -> Iterator[str]:
    """What a reading is held against at the open pump, before it is taken; and what each reading then gives.

    `opening` as a device takes it along, where it is that of the outage at which the pump is opened.
    """
    at = judged.at
    opening = opening or opening_of(judged, at.start_on if at else judged.as_of, at.outage if at else None)
    text = opening.words("um").replace("\u00a0", " ").replace("if found at ", "from ").replace(" or more", "")
    said = of_sentence(text)
    if "whatever is read" in text:
        said = Answer(trigger=ALWAYS)
    own = stands(judged)
    yield from apart(Answer(None, own.opened_on, own.trigger, None, own.scrape_from), said)
    yield from _by_readings(judged, opening)


def held_alike(listed: Opening, held: Opening) -> Iterator[str]:
    """What list and page say of an opening today, and what a visit that begins today is held against."""
    if listed.words("um") != held.words("um"):
        yield f"held against “{held.words('um')}”, not “{listed.words('um')}”"
    if listed.judgement.word != held.judgement.word:
        yield f"judged {held.judgement.word}, not {listed.judgement.word}"


def _by_readings(judged: Judgement, opening: Opening) -> Iterator[str]:
    """The word of the closing for readings on either side of the trigger, measured twice."""

    def word(value: float, owed: bool) -> str:
        rule = by_trigger(opening, Clearance(value, 4.0, again=True))
        return rule(True).word if owed else advise(Situation(), rule).word

    at = judged.at
    if at is None or not at.trigger_is:
        expected = CLOSE_UP if judged.why in (Why.NO_MAXIMUM, Why.YOUNG) else ENGINEER
        if word(200.0, False) != expected:
            yield f"closing says {word(200.0, False)}, not {expected}"
        return
    sides = {"always": [(150.0, REPLACE)], "never": [(150.0, CLOSE_UP), (400.0, CLOSE_UP)]}.get(
        at.trigger_is
    ) or [(float(at.trigger_um or 0) - 1.0, CLOSE_UP), (float(at.trigger_um or 0), REPLACE)]
    yield from (f"closing at {v} says {word(v, False)}, not {w}" for v, w in sides if word(v, False) != w)
    if at.no_room:
        sides = [(150.0, ENGINEER)]
    elif at.scrape_from_um is not None:
        sides = [(at.scrape_from_um - 1.0, CLOSE_UP), (at.scrape_from_um, REPLACE)]
    yield from (f"a scrape at {v} says {word(v, True)}, not {w}" for v, w in sides if word(v, True) != w)


def of_quality(judged: Judgement) -> Iterator[str]:
    """What one measurement would decide, by the page of the record's quality."""
    text = reading_words(judged).replace("\u00a0", " ")
    said = of_sentence(text)
    own = stands(judged)
    yield from apart(own, Answer(None, None, said.trigger, said.new, said.scrape_from))
    if bool(text) != (judged.at is not None or judged.word == Word.ENGINEER):
        yield f"says “{text}”, though the word is {judged.word}"


def in_files(rows: Sequence[tuple[Figures, Judgement]]) -> list[list[str]]:
    """The rows of the forecast sheet, each held against its bearing."""
    sheet = forecast_sheet(figures_frame(rows))
    return [list(_in_file(cells, judged)) for cells, (_, judged) in zip(sheet, rows, strict=True)]


def _in_file(row: Sequence[Any], judged: Judgement) -> Iterator[str]:
    cells: Mapping[str, Any] = dict(zip(SHEET, row, strict=True))
    at = judged.at
    wanted = {
        "advice": judged.word,
        "open_at": at.name if at and at.name else None,
        "trigger_um": at.trigger_um if at else None,
        "p_trigger": at.new if at else None,
        "scrape_from_um": at.scrape_from_um if at else None,
        "p_max_before_open": at.past if at else None,
    }
    for name, value in wanted.items():
        if (cells[name] or None) != (value or None):
            yield f"{name} of the file is {cells[name]}, not {value}"


def _um_or(state: str, value: float | None) -> str:
    return {"always": ALWAYS, "never": NEVER}.get(state) or (NONE if value is None else f"{value:.0f}")


def disagreements(stations: Iterable[tuple[str, str, Iterable[str]]]) -> list[str]:
    """One line for each disagreement: bearing, station, what differs."""
    return [f"{bearing}: {station}: {said}" for bearing, station, differs in stations for said in differs]
