"""500 bearings judged from plain figures go through every station of the site and get one answer."""

from collections import Counter
from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import pytest

from dashboards.outage_plan.plan_sheet import rows_of
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.pump_openings.coefficients import coefficients
from dashboards.outage_plan.pump_openings.evaluate import evaluate
from dashboards.outage_plan.pump_openings.inputs import OPEN, Bearing, Inputs, Job, Outage, Pump
from dashboards.watchlist.ranking import Watched
from fleet.models import Bearing as Position
from fleet.models import Place, Site
from inspections.forecasts.judgement.judgement_figures import Judgement, Why, Word
from tests import one_answer
from tests.judged_bearings import AS_OF, JudgedBearing, judged_bearings

N = 500


@cache
def bearings() -> list[JudgedBearing]:
    return judged_bearings(N, 12)


def plan_of(rows: list[JudgedBearing]) -> tuple[Inputs, tuple[Job, ...]]:
    """Every pump opened where it is wanted, if that is a recorded outage; crew hours for all."""
    times = {c.name: c for one in rows for c in one.judged.columns if c.known}
    outages = tuple(Outage(c.name, c.start_on, c.end_on, 1e6) for c in times.values())
    given = Inputs(
        AS_OF,
        tuple(Bearing(one.name, one.pump, one.judged) for one in rows),
        tuple(sorted(outages, key=lambda one: one.start_on)),
        tuple(Pump(tag) for tag in dict.fromkeys(one.pump for one in rows)),
    )
    at = {one.pump: one.judged.at for one in rows if one.judged.at is not None}
    jobs = (Job(one.name, OPEN, at[one.pump].name) for one in rows if one.pump in at and at[one.pump].known)
    return given, tuple(jobs)


def by_station(rows: list[JudgedBearing]):
    """Every bearing at each station that needs no plan."""
    place = Place(tag="P", site=Site(name="Random"))
    files = one_answer.in_files([(one.figures, one.judged) for one in rows])
    for one, in_file in zip(rows, files, strict=True):
        row = Watched(Position(name=one.name, place=place), one.figures, judgement=one.judged)
        yield one.name, "watch list", one_answer.listed(row)
        yield one.name, "page", one_answer.on_page(one.figures, one.judged)
        yield one.name, "pump", one_answer.at_pump(one.judged)
        yield one.name, "quality", one_answer.of_quality(one.judged)
        yield one.name, "forecast sheet", in_file


def by_plan(rows: list[JudgedBearing]):
    """Every bearing that the plan opens, on its line and in its file."""
    given, jobs = plan_of(rows)
    found = evaluate(jobs, given)
    sheet = rows_of(Proposal(SimpleNamespace(name="Random"), AS_OF, given, evaluation=found))
    judged = {one.name: one.judged for one in rows}
    for job, cells in zip(found.jobs, sheet, strict=False):
        start = given.outages[given.outage_at[job.outage]].start_on
        yield job.bearing, "plan", one_answer.planned(job, start, judged[job.bearing], judged[job.bearing].at)
        yield job.bearing, "plan's file", one_answer.in_sheet(cells, job, start)


def test_the_bearings_are_of_every_kind():
    kinds = Counter((one.judged.word, one.judged.why) for one in bearings())
    assert {word for word, _ in kinds} == {
        Word.OPEN,
        Word.LEAVE,
        Word.DECIDE_NOW,
        Word.SET_LIMIT,
        Word.ENGINEER,
    }
    wanted = {Why.PAST, Why.EARLY, Why.CONTACT, Why.BESIDE, Why.DUE, Why.COST, Why.MISFIT, Why.NO_LIFE}
    assert wanted <= {why for _, why in kinds}
    opened = [one.judged.if_closed for one in bearings() if one.judged.open_since]
    assert {Word.OPEN, Word.LEAVE, Word.DECIDE_NOW} <= set(opened)
    assert {column.trigger_is for one in bearings() for column in one.judged.columns} == {
        "reading",
        "always",
        "",
    }


def test_every_station_gives_one_answer():
    assert one_answer.disagreements(by_station(bearings())) == []


def test_the_plan_opens_each_pump_where_list_and_page_say_and_with_their_triggers():
    given, _ = plan_of(bearings())
    wanted = coefficients(given).wanted
    names = [*(outage.name for outage in given.outages), ""]
    first = {one.pump: one.judged.at for one in bearings() if one.judged.at is not None}
    apart = {
        pump.name: (names[at], first[pump.name].name)
        for pump, at in zip(given.pumps, wanted, strict=True)
        if pump.name in first and names[at] != first[pump.name].name
    }
    assert apart == {}
    assert one_answer.disagreements(by_plan(bearings())) == []


def test_what_is_decided_now_stands_first_on_the_plan_and_nothing_else_does():
    given, jobs = plan_of(bearings())
    names = {name for name, _ in evaluate(jobs, given).decide_now}
    assert names == {one.name for one in bearings() if one.judged.word == Word.DECIDE_NOW}


def open_one() -> JudgedBearing:
    """One that is opened and whose reading decides, in a recorded outage."""
    return next(
        one
        for one in bearings()
        if one.judged.why == Why.DUE
        and not one.judged.open_since
        and one.judged.at.trigger_is == "reading"
        and one.judged.at.known
    )


@pytest.mark.parametrize(
    "change",
    [
        lambda judged: replace(judged, first=judged.first + 1),
        lambda judged: moved(judged, trigger_um=judged.at.trigger_um + 3.0),
        lambda judged: moved(judged, new=0.8 if (judged.at.new or 0) < 0.5 else 0.2),
    ],
)
def test_a_station_that_reads_another_judgement_is_found(change):
    one = open_one()
    row = Watched(Position(name="DE", place=Place(tag="P", site=Site(name="R"))), one.figures)
    other = replace(row, judgement=change(one.judged))
    said = one_answer.of_sentence(other.says)
    when = one_answer.when_apart(one.judged.at, other.says, AS_OF)
    assert [*one_answer.apart(one_answer.stands(one.judged), said), *when]


def moved(judged: Judgement, **figures) -> Judgement:
    columns = list(judged.columns)
    columns[judged.first] = replace(columns[judged.first], **figures)
    return replace(judged, columns=tuple(columns))
