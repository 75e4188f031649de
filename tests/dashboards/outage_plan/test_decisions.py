"""Acts on plans: changes by hand hold until taken back, an acceptance is one act, a deferral has an owner and
an end.
"""

import datetime as dt

import pytest

from dashboards.outage_plan import versions
from dashboards.outage_plan.acceptance import accept, ask_for_above
from dashboards.outage_plan.drafts import (
    NotPlanned,
    Solved,
    change,
    in_hand,
    keep,
    keep_version,
    kept_versions,
    take_back,
)
from dashboards.outage_plan.versions import propose
from fleet.ledger.verify import verify
from fleet.models import Entry, Person
from fleet.plant.acts import revise
from fleet.plant.choices import set_setting
from inspections.deferrals import acts
from inspections.forecasts.current_forecasts import record_digests
from inspections.models import Decision, Deferral, DraftPlan, Plan
from inspections.visits import machine_book, method_cards
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, accept_agreed, bearing_of, run_on

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def _jobs(draft):
    made = versions.shown(draft, versions.version(draft, versions.HAND))
    return {job.bearing: (job.action, job.outage) for job in made.evaluation.jobs}


def _change(draft, what, **said):
    return change(draft=draft, what=what, by=makers.somebody(), **said)


def _short(site):
    """The first outage has one crew hour."""
    revise(site.outages.get(name="outage 1"), {"crew_hours": 1}, reason="stated anew", by=makers.somebody())


def _accept(draft, reason="the shells are here", on=TODAY):
    return accept_agreed(draft, reason=reason, on=on)


def _accept_alone(draft):
    return accept(draft=draft, reason="the shells are here", on=TODAY, by=makers.somebody())


def test_a_moved_job_shows_at_once_and_is_forgotten_when_planned_anew_but_a_pinned_one_stays(site, draft):
    assert _jobs(draft)["Past 5 DE"] == ("open", "outage 1")
    moved = _change(draft, "move", bearing="Past 5 DE", action="open", outage="outage 2")
    assert _jobs(moved)["Past 5 DE"] == ("open", "outage 2")
    again = propose(site, TODAY, by=None)
    assert _jobs(again)["Past 5 DE"] == ("open", "outage 1")
    _change(again, "pin", bearing="Past 5 DE", action="open", outage="outage 2")
    assert _jobs(propose(site, TODAY, by=None))["Past 5 DE"] == ("open", "outage 2")


def test_a_refusal_takes_the_job_out_and_holds_when_planned_anew(site, draft):
    refused = _change(
        draft, "refuse", bearing="Past 5 DE", outage="outage 1", why="no access before the roof is off"
    )
    assert "Past 5 DE" not in _jobs(refused)
    assert _jobs(propose(site, TODAY, by=None))["Past 5 DE"][1] == "outage 2"


def test_a_change_taken_back_leaves_the_plan_as_it_was(draft):
    was = _jobs(draft)
    _change(draft, "skip", outage="outage 1")
    changed = _change(draft, "move", bearing="Past 5 DE", action="leave")
    assert "Past 5 DE" not in _jobs(changed)
    assert [c["what"] for c in take_back(draft=draft, number=1).changes] == ["skip"]
    assert _jobs(take_back(draft=draft, number=-1)) == was
    with pytest.raises(NotPlanned, match="taken back already"):
        take_back(draft=draft, number=0)


@pytest.mark.parametrize(
    ("what", "said", "words"),
    [
        ("polish", {}, "is no change of a plan"),
        ("pin", {"bearing": "Past 5 DE", "outage": "outage 1"}, "Choose the work"),
        ("pin", {"bearing": "Past 5 DE", "action": "open"}, "Choose the outage"),
        ("pin", {"bearing": "Never 9", "action": "leave"}, "no bearing called 'Never 9'"),
        ("move", {"bearing": "Past 5 DE", "action": "paint", "outage": "outage 1"}, "'paint' is no work"),
        ("skip", {"outage": "outage 9"}, "no outage called 'outage 9'"),
        ("skip", {}, "Choose the outage that changes"),
        ("slip", {"outage": "outage 1", "days": "soon"}, "'soon' is no number of days"),
        ("slip", {"outage": "outage 1", "days": "0"}, "whole days"),
        ("slip", {"outage": "outage 1", "days": "1.5"}, "whole days"),
        ("shorten", {"outage": "outage 1", "hours": "nan"}, "'nan' is no number"),
        ("shorten", {"outage": "outage 1", "hours": "-1"}, "between 0"),
        ("worse", {"bearing": "Past 5 DE", "um": "1e9"}, "is no number of micrometres"),
    ],
)
def test_a_change_that_cannot_be_is_refused_with_what_to_do(draft, what, said, words):
    with pytest.raises(NotPlanned, match=words):
        _change(draft, what, **said)
    assert DraftPlan.objects.get(pk=draft.pk).changes == []


def test_a_form_filled_in_before_the_plan_was_made_anew_changes_nothing(site, draft):
    later = propose(site, TODAY, by=None)
    with pytest.raises(NotPlanned, match="worked out anew meanwhile"):
        _change(draft, "skip", outage="outage 1")
    assert later.changes == []


def test_only_the_last_ten_earlier_proposals_and_all_named_versions_stay(site, draft):
    keep_version(draft=draft, name=" first ", by=makers.somebody())
    with pytest.raises(NotPlanned, match="is kept already"):
        keep_version(draft=draft, name="first", by=makers.somebody())
    made = Solved(draft.digest, draft.inputs, draft.solved)
    for _ in range(14):
        keep(site, TODAY, made, by=None)
    assert DraftPlan.objects.filter(site=site, name="").count() == 11
    assert [row.name for row in kept_versions(site) if row.name] == ["first"]


def test_pins_that_do_not_fit_are_kept_to_and_what_is_short_is_named_and_keeps_the_plan_from_acceptance(site):
    _short(site)
    draft = propose(site, TODAY, by=None)
    _change(draft, "pin", bearing="Past 5 DE", action="open", outage="outage 1")
    again = propose(site, TODAY, by=None)
    assert _jobs(again)["Past 5 DE"] == ("open", "outage 1")
    (fault,) = versions.weigh(again).faults
    assert fault.startswith("outage 1: ") and "h short" in fault
    with pytest.raises(NotPlanned, match="cannot be carried out as it is: outage 1"):
        _accept(again)


def test_an_accepted_plan_is_one_act_with_a_decision_and_the_forecast_relied_on_for_every_bearing(draft):
    plan = _accept(draft)
    jobs = _jobs(draft)
    decided = Decision.objects.filter(plan=plan)
    assert {(f"{d.bearing.place.tag} {d.bearing.name}", d.decided, d.outage.name) for d in decided} == {
        (bearing, *job) for bearing, job in jobs.items()
    }
    entries = Entry.objects.filter(act=plan.act)
    assert sorted(entries.values_list("kind", flat=True)) == sorted(
        ["plan"] + ["decision", "forecast_relied_on"] * len(jobs)
    )
    assert all(len(d.forecast_hash) == 64 for d in decided)
    assert {d.advised for d in decided} <= {"open", "decide_now"}
    relied = Entry.objects.filter(kind="forecast_relied_on").first()
    assert '"max_date_p50"' in relied.text and '"in_service_max_um":"300.0"' in relied.text
    assert Person.objects.get(pk=plan.recorded_by) and plan.reason == "the shells are here"
    assert verify().faults == []


@pytest.mark.parametrize(
    ("what", "said", "words"),
    [
        ("slip", {"days": "30"}, "outage 1 as if it came 30 days later"),
        ("skip", {}, "outage 1 as if it did not take place"),
        ("shorten", {"hours": "400"}, "outage 1 as if it had other crew hours"),
    ],
)
def test_an_outage_that_was_supposed_is_never_accepted_nor_what_was_worked_out_under_it(
    site, draft, what, said, words
):
    changed = _change(draft, what, outage="outage 1", **said)
    with pytest.raises(NotPlanned, match=words):
        _accept(changed)
    under = propose(site, TODAY, by=None)
    take_back(draft=under, number=-1)
    with pytest.raises(NotPlanned, match="worked out under a what-if"):
        _accept(in_hand(site))
    assert not Plan.objects.exists()


def test_without_a_reason_or_with_a_fault_nothing_is_accepted(site, draft):
    with pytest.raises(NotPlanned, match="why this plan"):
        _accept(draft, reason="  ")
    _short(site)
    draft = propose(site, TODAY, by=None)
    _change(draft, "move", bearing="Past 5 DE", action="open", outage="outage 1")
    with pytest.raises(NotPlanned, match="cannot be carried out as it is: outage 1"):
        _accept(draft)
    assert not Plan.objects.exists() and not Decision.objects.exists()


def test_nobody_accepts_by_words_what_stays_above_the_risk_it_needs_the_agreement_of_a_deferral(site, draft):
    _change(draft, "refuse", bearing="Past 5 DE", why="no crane")
    draft = in_hand(site)
    with pytest.raises(NotPlanned, match="Past 5 DE stays above its accepted risk: ask to put it off"):
        _accept_alone(draft)
    ask_for_above(
        draft=draft,
        on=TODAY,
        by=makers.somebody(),
        until_on=TODAY + dt.timedelta(days=200),
        reason="vibration is read daily",
        late_why="the pump has no twin and the winter needs it",
        check_by="N. Turner",
        check_every_days=7,
        stop_at="bearing metal 95 °C",
    )
    with pytest.raises(
        NotPlanned, match=r"Past 5 DE .*: what was asked waits for the engineer and operations"
    ):
        _accept_alone(draft)
    with pytest.raises(NotPlanned, match="nobody was asked about"):
        ask_for_above(draft=draft, on=TODAY, by=makers.somebody())
    (asked,) = Deferral.objects.all()
    for role in ("engineer", "operations"):
        account = makers.an_account(role=role, site=site)
        acts.answer(thing=asked.pk, side=role, agreed=True, on=TODAY, by=account.person_id)
    plan = _accept_alone(draft)
    row = Decision.objects.get(plan=plan, bearing=bearing_of(site, "Past 5"))
    assert (
        row.decided == "leave" and "“vibration is read daily”" in row.why and "(operations) agreed" in row.why
    )
    (kept,) = [one for one in plan.inputs["above"] if one["name"] == "Past 5 DE"]
    assert kept["reason"] and kept["would_fit_with"] and verify().faults == []


def test_work_of_the_accepted_plan_is_not_refused_or_moved_later_by_hand_without_an_agreement(site, draft):
    run_on(TODAY, bearing_of(site, "Past 5"))
    _change(draft, "pin", bearing="Slow 1 DE", action="open", outage="outage 1")
    _accept_alone(draft)
    _change(draft, "pin", bearing="Slow 1 DE", action="open", outage="outage 2")
    with pytest.raises(NotPlanned, match="Slow 1 DE is taken out of outage 1, where the accepted plan opens"):
        _accept_alone(draft)
    run_on(TODAY, bearing_of(site, "Slow 1"))
    assert _accept_alone(draft).jobs


def test_a_pump_that_planning_anew_puts_later_than_the_accepted_plan_needs_the_same_agreement(site, draft):
    run_on(TODAY, bearing_of(site, "Past 5"))
    pinned = _change(draft, "pin", bearing="Slow 1 DE", action="open", outage="outage 1")
    _accept_alone(pinned)
    take_back(draft=in_hand(site), number=-1)
    anew = propose(site, TODAY, by=None)
    assert _jobs(anew).get("Slow 1 DE", ("", ""))[1] != "outage 1"
    said = "Slow 1 DE is taken out of outage 1, where the accepted plan opens it: ask to put it off"
    with pytest.raises(NotPlanned, match=said):
        _accept_alone(anew)
    until = TODAY + dt.timedelta(days=700)
    checks = {"check_by": "N. Turner", "check_every_days": 60, "stop_at": "bearing metal 95 °C"}
    why = {"reason": "it wears slower than was thought", "late_why": ""}
    (asked,) = ask_for_above(draft=anew, on=TODAY, by=makers.somebody(), until_on=until, **checks, **why)
    assert asked.outage == "outage 1" and (asked.state == "in force") == (asked.level == "planner")
    if asked.missing:
        engineer = makers.an_account(role="engineer", site=site)
        acts.answer(thing=asked.id, side="engineer", agreed=True, on=TODAY, by=engineer.person_id)
    assert _accept_alone(anew).jobs


def test_what_was_opened_since_is_put_off_by_nobody(site, draft):
    run_on(TODAY, bearing_of(site, "Past 5"))
    _accept_alone(_change(draft, "pin", bearing="Slow 1 DE", action="open", outage="outage 1"))
    makers.an_event(bearing=bearing_of(site, "Slow 1"), kind="shell_change", on=TODAY)
    take_back(draft=in_hand(site), number=-1)
    anew = propose(site, TODAY, by=None)
    assert "Slow 1 DE" not in _jobs(anew) and _accept_alone(anew)


def test_a_plan_older_than_the_record_is_worked_out_anew_first_but_its_own_acceptance_ages_it_not(
    site, draft
):
    _accept(draft)
    _accept(draft, reason="again, for the file")
    makers.a_reading(
        bearing=bearing_of(site, "Slow 1"), on=TODAY - dt.timedelta(days=3), value=172, unit="um"
    )
    with pytest.raises(NotPlanned, match="record has changed"):
        _accept(draft)
    fresh = propose(site, TODAY, by=None)
    with pytest.raises(NotPlanned, match="record has changed"):
        _accept(fresh, on=TODAY + dt.timedelta(days=40))
    _accept(fresh)


def test_what_another_site_records_makes_no_plan_old(site):
    other = makers.a_bearing(place=makers.a_place(site=makers.a_site(name="South")))
    draft = propose(site, TODAY, by=None)
    makers.a_reading(bearing=other)
    assert _accept(draft).accepted_on == TODAY


def test_cards_and_books_shown_at_the_pump_make_no_plan_old_and_no_figure_is_worked_out_anew(site, draft):
    bearing, by = bearing_of(site, "Slow 1"), makers.somebody()
    before = record_digests([bearing])
    card = {"steps": "Wipe it.", "heed": "", "source": "", "site": site, "on": TODAY, "by": by}
    method_cards.approve(method="bore_gauge", **card)
    machine_book.enter(bearing=bearing, entries={"cap_torque": "200 Nm"}, on=TODAY, by=by)
    assert record_digests([bearing]) == before
    assert _accept(draft).accepted_on == TODAY
    set_setting(name="accepted_risk", value="0.05", site=site, by=by)
    assert record_digests([bearing]) != before
    with pytest.raises(NotPlanned, match="record has changed"):
        _accept(draft)


def test_a_bearing_whose_accepted_job_falls_out_gets_a_decision_to_leave_it(site, draft):
    _accept(draft)
    _change(draft, "refuse", bearing="Past 5 DE", why="sold")
    plan = _accept(draft, reason="the pump is sold")
    row = Decision.objects.get(plan=plan, bearing=bearing_of(site, "Past 5"))
    assert row.decided == "leave" and row.outage is None and row.why
    assert plan.inputs["changes"][0]["why"] == "sold"


def test_after_the_freeze_day_a_change_is_marked_and_planning_anew_keeps_the_scope():
    site = a_fleet(TODAY, name="South", freeze=130)  # four days ago
    draft = propose(site, TODAY, by=None)
    _accept(draft)
    moved = _change(draft, "move", bearing="Past 5 DE", action="open", outage="outage 2")
    found = versions.weigh(moved)
    assert found.marked == ("outage 1: opening Past 5 DE was taken out after the freeze day.",)
    take_back(draft=draft, number=-1)
    frozen = {(b, *job) for b, job in _jobs(in_hand(site)).items() if job[1] == "outage 1"}
    assert "Slow 1 DE" not in {b for b, _, _ in frozen} and frozen
    makers.a_reading(
        bearing=bearing_of(site, "Slow 1"), on=TODAY - dt.timedelta(days=2), value=320, unit="um"
    )
    again = _jobs(propose(site, TODAY, by=None))
    assert {(b, *job) for b, job in again.items() if job[1] == "outage 1"} == frozen
