"""The plan keeps to the one judgement: nothing is planned on what it leaves closed, and every job says what to look for."""

import datetime as dt

import pytest

from dashboards.outage_plan.proposal import gather, key, propose
from fleet.models import Bearing
from inspections.forecasts.judgement.current import judgements
from inspections.forecasts.judgement.figures import Word
from tests.dashboards.outage_plan.plan_fleet import a_fleet

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def judged(site):
    bearings = list(Bearing.objects.standing().at_sites([site]).in_order())
    found = judgements(bearings, TODAY)
    return {key(bearing): found[bearing.pk] for bearing in bearings}


def test_no_job_opens_what_the_judgement_leaves_closed_and_each_says_its_trigger():
    site = a_fleet(TODAY)
    made, answers = propose(site, TODAY), judged(site)
    assert made.evaluation.jobs
    starts = {outage.name: outage.start_on for outage in made.inputs.outages}
    for job in made.evaluation.jobs:
        answer = answers[job.bearing]
        assert answer.word != Word.LEAVE or starts[job.outage] >= answer.at.start_on
        column = next(c for c in answer.columns if c.name == job.outage)
        assert "open" in job.reason and "thin evidence" not in job.reason
        if column.new <= 0.9 and column.trigger_is == "reading":
            assert f"{column.trigger_um:.0f} µm" in job.reason


def test_a_shell_is_kept_only_where_one_in_ten_readings_ask_for_one():
    site = a_fleet(TODAY)
    answers = judged(site)
    for bearing in gather(site, TODAY).inputs.bearings:
        for column in answers[bearing.name].columns:
            if column.known and column.new is not None:
                assert bearing.looks[column.name].shell == (column.new >= 0.1)
