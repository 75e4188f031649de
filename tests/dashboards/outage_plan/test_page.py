"""The proposal from a record: what is replaced, what waits, what is ordered; its sheet."""

import csv
import datetime as dt
import io

import pytest
from django.core.management import call_command

from dashboards.outage_plan.drafts import in_hand
from dashboards.outage_plan.plan_sheet import COLUMNS
from dashboards.outage_plan.proposal import propose
from fleet.models import Bearing, Spare
from fleet.plant.acts import record
from inspections.forecasts.judgement.judgement_figures import Why
from inspections.forecasts.refit import refit
from inspections.models import DraftPlan
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def _site(outages=((2026, 10), (2028, 4), (2029, 10)), crew=500):
    """A fleet of steady wearers, one of which has passed its maximum and one of which nearly has."""
    site = makers.a_site(name="North")
    for year, month in outages:
        makers.an_outage(site=site, start_on=dt.date(year, month, 5), name=f"outage {year}")
    for number, (tag, gain) in enumerate(
        (("Slow 1", 10), ("Slow 2", 12), ("Slow 3", 11), ("Fast 4", 45), ("Past 5", 85))
    ):
        place = makers.a_place(site=site, tag=tag, positions=("DE",))
        bearing = makers.a_bearing(
            place=place, shell_type="S-1", limits={"fitting_max": 150, "in_service_max": 300}
        )
        for step, year in enumerate((2013, 2017, 2021, 2025)):
            value = 140 + number + gain * step
            makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value, unit="um")
    return site


def _spare(site, **facts):
    record([Spare(site=site, shell_type="S-1", **facts)], by=makers.somebody())


def _jobs(proposal):
    return {job.bearing: (job.action, job.outage) for job in proposal.evaluation.jobs}


def test_what_has_passed_is_opened_at_the_next_outage_and_slow_ones_stay_closed_then():
    site = _site()
    _spare(site, on_hand=5)
    made = propose(site, TODAY)
    jobs = _jobs(made)
    assert jobs["Past 5 DE"] == ("open", "outage 2026")
    assert {action for action, _ in jobs.values()} == {"open"}
    assert "outage 2026" not in {jobs.get(f"Slow {n} DE", ("", ""))[1] for n in (1, 2, 3)}
    (past,) = [job for job in made.evaluation.jobs if job.bearing == "Past 5 DE"]
    assert past.replacement_expected and "replacement expected" in past.reason
    assert [name for name, _ in made.evaluation.decide_now] == ["Past 5 DE"]


def test_a_shell_for_what_is_past_its_maximum_is_to_be_ordered_today():
    site = _site()
    _spare(site, lead_time_days=60)
    (order,) = [
        one for one in propose(site, TODAY).orders if one.bearing == "Past 5 DE" and "upper" in one.family
    ]
    assert order.order_by == TODAY < dt.date(2026, 10, 5) - dt.timedelta(days=60 + 14)


def test_a_shell_that_cannot_come_in_time_puts_the_work_off_and_says_why():
    site = _site()
    _spare(site, lead_time_days=300)
    proposal = propose(site, TODAY)
    assert _jobs(proposal)["Past 5 DE"] == ("open", "outage 2028")


def test_without_outages_or_dates_it_says_what_is_missing():
    site = makers.a_site()
    assert propose(site, TODAY).refused == ("This site has no bearings.",) or propose(
        site, TODAY
    ).refused == ("No coming outage is recorded for this site.",)
    makers.a_bearing(place=makers.a_place(site=site))
    assert propose(site, TODAY).refused == ("No coming outage is recorded for this site.",)


def test_bearings_without_a_limit_are_left_out_by_name():
    site = _site()
    makers.a_bearing(place=makers.a_place(site=site, tag="Bare", positions=("DE",)), limits={})
    assert propose(site, TODAY).left_out == ("Bare DE",)


def test_the_command_writes_the_plan_sheet(tmp_path):
    _site()
    out = io.StringIO()
    call_command("plan", "--as-of", "2026-06-01", csv=tmp_path / "plan.csv", stdout=out)
    rows = list(csv.reader((tmp_path / "plan.csv").read_text("utf-8").splitlines()))
    assert tuple(rows[0]) == COLUMNS and any(row[1] == "Past 5" and row[4] == "open" for row in rows[1:])
    assert "North: " in out.getvalue()


def test_the_command_takes_the_plan_in_hand_only_of_today(tmp_path):
    site = _site(outages=((2030, 10), (2032, 4)))
    call_command("plan", "--as-of", "2026-06-01", stdout=io.StringIO())
    assert in_hand(site) is None
    call_command("plan", stdout=io.StringIO())
    assert in_hand(site).solved["jobs"]


def test_if_needed_leaves_the_plan_in_hand_until_the_record_the_forecast_or_the_day_is_another():
    site = _site(outages=((2030, 10), (2032, 4)))
    read = Bearing.objects.standing().first()

    def is_another() -> bool:
        before = in_hand(site)
        call_command("plan", "--if-needed", stdout=io.StringIO())
        return in_hand(site) != before

    assert is_another() and not is_another()
    makers.a_reading(bearing=read, on=dt.date(2025, 9, 4), value=190, unit="um")
    assert is_another() and not is_another()
    refit(by=makers.somebody())
    assert is_another() and not is_another()
    DraftPlan.objects.update(as_of=dt.date(2026, 1, 1))
    assert is_another() and not is_another()


def test_a_maximum_under_the_fitted_clearance_makes_no_passing_and_no_risk_of_the_plan():
    site = _site()
    _spare(site, on_hand=5)
    before = propose(site, TODAY).evaluation
    place = makers.a_place(site=site, tag="Wrong 6", positions=("DE", "NDE"))
    for position, maximum in (("DE", 120), ("NDE", 300)):
        bearing = makers.a_bearing(
            place=place,
            position=position,
            shell_type="S-1",
            limits={"fitting_min": 130, "fitting_max": 150, "in_service_max": maximum},
        )
        for step, year in enumerate((2013, 2017, 2021, 2025)):
            makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=140 + 11 * step, unit="um")
    made = propose(site, TODAY)
    judged = {b.name: b.judged for b in made.inputs.bearings}["Wrong 6 DE"]
    assert judged.why == Why.NO_LIFE
    assert "Wrong 6 DE" not in {one.bearing for one in made.evaluation.not_fitting}
    assert made.evaluation.n_above_accepted == before.n_above_accepted
    assert made.evaluation.expected_passings < before.expected_passings + 0.5
    assert all(job.p_max_before_work == 0 for job in made.evaluation.jobs if job.bearing == "Wrong 6 DE")
