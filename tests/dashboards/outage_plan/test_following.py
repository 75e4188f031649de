"""The accepted plan while its outage runs and after: what is done, what is left, what has moved."""

import datetime as dt
from decimal import Decimal

import pytest
from icalendar import Calendar

from dashboards.at_pump.wanted_now import wanted_now
from dashboards.outage_plan import job_states, plan_sentences, versions
from dashboards.outage_plan.acceptance import accept
from dashboards.outage_plan.agreements import not_agreed, standing_at
from dashboards.outage_plan.drafts import NotPlanned, change, in_hand, take_back
from dashboards.outage_plan.following import carried_over, follow, moved_since
from dashboards.outage_plan.job_states import AtPump, OfOutage, state_of
from dashboards.outage_plan.plan_sheet import COLUMNS, rows_of
from dashboards.outage_plan.versions import propose, weigh
from fleet.clock import today_in
from fleet.ledger import writing
from fleet.models import Outage, Spare
from fleet.plant.acts import record, revise, withdraw
from fleet.plant.limits import set_limits
from inspections.models import Visit
from inspections.records.recording import close_visit, open_visit
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, accept_agreed, bearing_of

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)
SPRING = OfOutage("spring", dt.date(2027, 5, 3), dt.date(2027, 5, 17))
FIRST, AFTER = dt.date(2027, 5, 4), dt.date(2027, 6, 20)


@pytest.fixture
def today():
    return today_in("UTC")


@pytest.fixture
def running(today):
    """A site on the second day of its outage, on a plan accepted a month ago."""
    site = a_fleet(today, ahead=(-1, 548, 1100), freeze=60)
    _accepted(site, today - 30 * DAY)
    return site


def _accepted(site, on):
    draft = propose(site, on, by=makers.somebody())
    plan = accept_agreed(draft, reason="agreed", on=on)
    assert any(job["outage"] == str(site.outages.get(name="outage 1").pk) for job in plan.jobs)
    return plan


def _jobs(site, key=versions.HAND):
    hand = in_hand(site)
    made = versions.shown(hand, versions.version(hand, key))
    return {(job.bearing, job.action, job.outage) for job in made.evaluation.jobs}


def _states(site, today):
    (first,) = [one for one in follow(site, today) if one.outage.name == "outage 1"]
    return {job.name: job.state for job in first.jobs}


@pytest.mark.parametrize(
    ("action", "seen", "today", "word"),
    [
        ("replace", None, FIRST - 20 * DAY, "planned"),
        ("replace", None, FIRST, "planned"),
        ("replace", None, AFTER, "not done"),
        ("replace", AtPump(FIRST, works=(("shell_change", FIRST),)), AFTER, "done"),
        ("replace", AtPump(FIRST, works=(("shell_change", FIRST),), is_open=True), FIRST, "done"),
        ("replace", AtPump(FIRST, found_um=212.0, found_on=FIRST), AFTER, "found otherwise"),
        ("replace", AtPump(FIRST, found_um=212.0, found_on=FIRST, is_open=True), FIRST, "under way"),
        ("open", AtPump(FIRST, found_um=212.0, found_on=FIRST), FIRST, "done"),
        ("open", AtPump(FIRST, works=(("opened", FIRST),)), AFTER, "found otherwise"),
        ("open", AtPump(FIRST, works=(("shell_change", FIRST),), is_open=True), FIRST, "done"),
        ("scrape", AtPump(FIRST, works=(("scrape", FIRST),)), FIRST, "done"),
        ("scrape", AtPump(FIRST, works=(("rebabbitt", FIRST),)), FIRST, "found otherwise"),
    ],
)
def test_a_job_stands_as_what_was_recorded_says(action, seen, today, word):
    assert state_of(action, SPRING, seen, today).word == word


def test_what_was_not_done_is_carried_over_and_what_was_taken_out_is_cancelled():
    later = OfOutage("spring", SPRING.start_on, SPRING.end_on, later="autumn")
    gone = OfOutage("spring", SPRING.start_on, SPRING.end_on, cancelled="the outage is cancelled")
    state = state_of("open", later, None, AFTER)
    assert state.word == "carried over" and state.because.endswith("now in autumn")
    assert state_of("open", gone, None, AFTER).word == "cancelled"
    # Work recorded all the same is work done.
    assert state_of("open", gone, AtPump(FIRST, found_um=1.0, found_on=FIRST), AFTER).word == "done"


def test_on_its_second_day_an_outage_stands_in_proposal_accepted_plan_work_list_and_calendar(
    running, today, client
):
    before = {job for job in _jobs(running, versions.ACCEPTED) if job[2] == "outage 1"}
    propose(running, today, by=None)
    assert before and {job for job in _jobs(running) if job[2] == "outage 1"} == before
    assert {job for job in _jobs(running, versions.ACCEPTED) if job[2] == "outage 1"} == before
    client.force_login(makers.an_account(role="planner", site=running))
    page = client.get("/plan/work/", {"outage": "outage 1", "show": "accepted"})
    assert page.status_code == 200 and "Past 5" in page.content.decode()
    assert b"SUMMARY:outage 1: " in client.get("/plan/outage-plan.ics", {"show": "accepted"}).content


def test_what_is_opened_while_its_outage_runs_needs_no_agreement_to_run_on(today):
    site = a_fleet(today, ahead=(-1, 548, 1100))
    draft = propose(site, today, by=None)
    assert ("Past 5 DE", "open", "outage 1") in _jobs(site)
    assert not_agreed(draft, weigh(draft), standing_at(site, today)) == []
    plan = accept(draft=draft, reason="it is opened today", on=today, by=makers.somebody())
    assert plan.jobs


def test_an_outage_is_over_after_its_last_day(running, today):
    last = Outage.objects.get(site=running, name="outage 1").end_on
    assert "outage 1" in in_hand_outages(running, last)
    assert "outage 1" not in in_hand_outages(running, last + DAY)


def in_hand_outages(site, day):
    return propose(site, day, by=None).solved["ids"]["outages"]


def test_a_finished_job_leaves_the_plan_with_its_reason(running, today, client):
    propose(running, today, by=None)
    assert ("Past 5 DE", "open", "outage 1") in _jobs(running)
    makers.an_event(kind="shell_change", bearing=bearing_of(running, "Past 5"), on=today)
    state = _states(running, today)["Past 5 DE"]
    assert state.word == job_states.DONE and "new shell fitted" in state.because
    made = versions.shown(hand := in_hand(running), versions.version(hand, versions.HAND))
    assert "Past 5 DE" not in {one.bearing for one in made.evaluation.not_fitting}
    assert made.evaluation.n_above_accepted == len(made.evaluation.not_fitting)
    for key in (versions.HAND, versions.ACCEPTED):
        assert "Past 5 DE" not in {bearing for bearing, _, _ in _jobs(running, key)}
    client.force_login(makers.an_account(role="planner", site=running))
    work_list = "/plan/work/?outage=outage+1&show=in-hand"
    for address in ("/plan/bearing/?bearing=Past+5+DE", "/plan/outage/?outage=outage+1", work_list):
        assert "Something was recorded here since" in client.get(address).content.decode(), address
    propose(running, today, by=None)
    assert "Past 5 DE" not in {bearing for bearing, _, outage in _jobs(running) if outage == "outage 1"}
    page = client.get("/plan/work/", {"outage": "outage 1", "show": "accepted"}).content.decode()
    assert "Not to be worked any more" in page and "new shell fitted" in page
    plan = client.get("/plan/", {"show": "accepted"}).content.decode()
    assert "planned job" in plan.replace("\u00a0", " ") and "new shell fitted" in plan


def test_a_job_whose_pump_was_closed_up_without_it_is_said_not_done_and_planned_in_that_outage_no_more(
    today, client
):
    site = a_fleet(today, ahead=(-1, 548, 1100))
    place = bearing_of(site, "Past 5").place
    makers.a_bearing(place=place, position="NDE", shell_type="S-1")
    both = {one.name: one for one in place.bearings.select_related("place__site")}
    for step in range(4):
        on = today - dt.timedelta(days=365 * (13 - 4 * step))
        makers.a_reading(bearing=both["NDE"], on=on, value=140 + 80 * step, unit="um")
    _accepted(site, today - 30 * DAY)
    visit = open_visit(place=place, on=today, by=makers.somebody())
    makers.a_reading(bearing=both["DE"], on=today, value=300, unit="um", visit=visit)
    assert _states(site, today)["Past 5 NDE"].word == job_states.PLANNED
    close_visit(visit=visit, on=today, by=makers.somebody())
    state = _states(site, today)["Past 5 NDE"]
    assert state.word == job_states.NOT_DONE and "its pump was closed on" in state.because
    assert _states(site, today)["Past 5 DE"].word == job_states.DONE
    assert both["NDE"].pk not in {one.bearing.pk for one in wanted_now(site, today).bearings}
    propose(site, today, by=None)
    for key in (versions.HAND, versions.ACCEPTED):
        assert "Past 5 NDE" not in {one for one, _, outage in _jobs(site, key) if outage == "outage 1"}
    client.force_login(makers.an_account(role="planner", site=site))
    page = client.get("/plan/work/", {"outage": "outage 1", "show": "accepted"}).content.decode()
    assert "Past 5 NDE" in page and "not done" in page and "its pump was closed on" in page
    (last,) = [one for one in follow(site, today + 20 * DAY) if one.outage.name == "outage 1"]
    assert {job.name: job.state.word for job in last.jobs}["Past 5 NDE"] == job_states.CARRIED_OVER


def test_what_was_measured_for_a_job_is_said_in_the_unit_of_its_machines_book(running, today, client):
    bearing = bearing_of(running, "Past 5")
    limits, book = {"in_service_max": Decimal("304.8")}, {"authority": "maker_machine", "typed": "12"}
    set_limits([bearing], limits, unit="thou", by=makers.somebody(), **book)
    makers.a_reading(bearing=bearing, on=today, value=254, unit="um")
    propose(running, today, by=None)
    client.force_login(makers.an_account(role="planner", site=running))
    page = client.get("/plan/work/", {"outage": "outage 1", "show": "accepted"}).content.decode()
    assert "measured 10.0 thou" in page.replace("\u00a0", " ")


def test_what_was_recorded_before_the_plan_was_accepted_is_no_work_of_it(today):
    site = a_fleet(today, ahead=(3, 548, 1100))
    makers.a_reading(bearing=bearing_of(site, "Past 5"), on=today - 2 * DAY, value=495, unit="um")
    _accepted(site, today)
    assert _states(site, today)["Past 5 DE"].word == job_states.PLANNED


def test_work_recorded_after_the_plan_counts_although_the_clock_was_set_back(running, today, monkeypatch):
    monkeypatch.setattr(writing, "recorded_now", lambda: dt.datetime(2001, 2, 3, tzinfo=dt.UTC))
    makers.an_event(kind="shell_change", bearing=bearing_of(running, "Past 5"), on=today)
    assert _states(running, today)["Past 5 DE"].word == job_states.DONE


def test_what_was_not_done_comes_back_with_its_present_risk_until_it_is_done(today):
    site = a_fleet(today, ahead=(-60, 548, 1100))
    _accepted(site, today - 100 * DAY)
    first, *_ = follow(site, today)
    assert {job.state.word for job in first.jobs} <= {job_states.NOT_DONE, job_states.CARRIED_OVER}
    assert first.adherence.startswith("0 of ")
    back = carried_over(follow(site, today), today)
    mine = next(one for one in back if one.job.name == "Past 5 DE")
    assert mine.outage == "outage 1" and mine.p_now > 0.5
    makers.an_event(kind="shell_change", bearing=bearing_of(site, "Past 5"), on=today - DAY)
    assert "Past 5 DE" not in {one.job.name for one in carried_over(follow(site, today), today)}


def test_a_moved_renamed_or_cancelled_outage_marks_the_accepted_plan_wherever_it_stands(today, client):
    site = a_fleet(today, ahead=(100, 548, 1100))
    _accepted(site, today)
    assert moved_since(site, today) == []
    first = site.outages.get(name="outage 1")
    values = {"start_on": first.start_on + 30 * DAY, "end_on": first.end_on + 30 * DAY, "name": "spring"}
    revise(first, values, reason="the grid asks for it", by=makers.somebody())
    (words,) = moved_since(site, today)
    assert "outage 1 is called spring now, starts on" in words and "Its freeze day did not move" in words
    propose(site, today, by=None)
    for role, hears in (("planner", True), ("engineer", True), ("foreman", True), ("reader", False)):
        client.force_login(makers.an_account(role=role, site=site))
        assert ("outage 1 is called spring now" in client.get("/").content.decode()) is hears, role
    client.force_login(makers.an_account(role="planner", site=site))
    for address in ("/plan/?show=accepted", "/plan/work/?outage=spring&show=accepted"):
        assert "outage 1 is called spring now" in client.get(address).content.decode(), address
    withdraw(first, reason="not needed", by=makers.somebody())
    (words,) = moved_since(site, today)
    assert words.startswith("outage 1 is cancelled: its ")
    (states,) = [one.jobs for one in follow(site, today) if one.outage.pk == first.pk]
    assert {job.state.word for job in states} == {job_states.CANCELLED}
    _accepted_again(site, today)
    assert moved_since(site, today) == []


def _accepted_again(site, on):
    draft = propose(site, on, by=makers.somebody())
    accept_agreed(draft, reason="anew", on=on)


def test_a_what_if_is_never_accepted_nor_what_was_worked_out_under_it(today):
    site = a_fleet(today)
    draft = propose(site, today, by=makers.somebody())
    change(draft=draft, what="worse", bearing="Slow 1 DE", um="325", by=makers.somebody())
    under = propose(site, today, by=makers.somebody())
    facts = {"reason": "agreed", "on": today}
    with pytest.raises(NotPlanned, match="Slow 1 DE as if it read 325"):
        accept_agreed(draft=under, **facts)
    take_back(draft=under, number=-1)
    with pytest.raises(NotPlanned, match="worked out under a what-if"):
        accept_agreed(draft=in_hand(site), **facts)
    plan = accept_agreed(draft=propose(site, today, by=makers.somebody()), **facts)
    assert "worse" not in {one["what"] for one in plan.inputs["changes"]}


def _events(client, **asked):
    book = Calendar.from_ical(client.get("/plan/outage-plan.ics", asked).content)
    return {str(event["uid"]): event for event in book.walk("VEVENT")}


def test_calendar_ids_tell_proposal_from_accepted_plan_outlive_a_name_and_are_cancelled(today, client):
    site = a_fleet(today)
    _accepted(site, today)
    client.force_login(makers.an_account(role="planner", site=site))
    proposal, before = _events(client), _events(client, show="accepted")
    assert before and not set(proposal) & set(before)
    first = site.outages.get(name="outage 1")
    mine = next(uid for uid, one in before.items() if str(one["summary"]).startswith("outage 1: "))
    revise(first, {"name": "spring"}, reason="its name", by=makers.somebody())
    propose(site, today, by=None)
    again = _events(client, show="accepted")
    assert str(again[mine]["summary"]).startswith("spring: ") and "status" not in again[mine]
    assert again[mine]["sequence"] >= before[mine]["sequence"] > 0
    withdraw(first, reason="not needed", by=makers.somebody())
    propose(site, today, by=None)
    assert str(_events(client, show="accepted")[mine]["status"]) == "CANCELLED"


def test_the_sheet_of_the_plan_has_days_ids_and_order_days(today):
    site = a_fleet(today, on_hand=None)
    made = versions.shown(hand := propose(site, today, by=None), versions.version(hand, versions.HAND))
    lines = [dict(zip(COLUMNS, row, strict=True)) for row in rows_of(made)]
    ordered = {one.bearing: one.order_by for one in reversed(made.orders)}
    outages = {str(one.pk): one for one in site.outages.all()}
    assert ordered and lines
    for line in lines:
        bearing = bearing_of(site, line["pump"])
        assert line["bearing_id"] == str(bearing.pk)
        if line["action"] != "leave":
            outage = outages[line["outage_id"]]
            assert (line["outage_start"], line["outage_end"]) == (outage.start_on, outage.end_on)
            assert line["order_by"] == ordered.get(f"{line['pump']} {line['position']}")


@pytest.mark.parametrize(("hours", "bore", "why"), [(0, None, "no crew hours"), (100, 999_999, "Past 5 DE")])
def test_an_outage_that_cannot_be_used_is_named_not_said_to_need_nothing(today, hours, bore, why):
    site = a_fleet(today, on_hand=None)
    for outage in site.outages.all():
        revise(outage, {"crew_hours": hours}, reason="stated anew", by=makers.somebody())
    if bore:
        facts = {"lead_time_days": 3000, "on_hand": 5, "bored": True, "bore_um": bore}
        record([Spare(site=site, shell_type="S-1", **facts)], by=makers.somebody())
    made = versions.shown(hand := propose(site, today, by=None), versions.version(hand, versions.HAND))
    text = plan_sentences.saying(made.evaluation, made.inputs, made.orders)
    assert "Nothing needs opening" not in text and why in text and "Past 5 DE" in text
    assert "counts risk until" in plan_sentences.horizon(made.inputs)


def test_new_metal_that_no_accepted_plan_asked_for_ends_what_the_plan_in_hand_says_of_it(today):
    site = a_fleet(today, ahead=(400, 900, 1400))
    hand = propose(site, today, by=None)
    made = versions.shown(hand, versions.version(hand, versions.HAND)).evaluation
    assert "Past 5 DE" in dict(made.decide_now) and "Past 5 DE" in {job.bearing for job in made.jobs}
    makers.an_event(kind="shell_change", bearing=bearing_of(site, "Past 5"), on=today)
    made = versions.shown(hand, versions.version(hand, versions.HAND)).evaluation
    assert "Past 5 DE" not in dict(made.decide_now)
    assert "Past 5 DE" not in {job.bearing for job in made.jobs}
    assert {one.bearing for one in made.not_fitting} == {"Fast 4 DE"} and made.n_above_accepted == 1


def test_a_reading_does_not_end_what_is_to_be_decided_now_of_a_bearing_past_its_maximum(today):
    site = a_fleet(today, ahead=(-1, 548, 1100))
    _accepted(site, today)
    hand = in_hand(site)
    made = versions.shown(hand, versions.version(hand, versions.HAND)).evaluation
    assert "Past 5 DE" in dict(made.decide_now)
    makers.a_reading(bearing=bearing_of(site, "Past 5"), on=today, value=495, unit="um")
    for visit in Visit.objects.standing().filter(opened_on=today):
        close_visit(visit=visit, on=today, by=makers.somebody())
    assert _states(site, today)["Past 5 DE"].word == job_states.DONE
    made = versions.shown(hand, versions.version(hand, versions.HAND)).evaluation
    assert "Past 5 DE" in dict(made.decide_now)
