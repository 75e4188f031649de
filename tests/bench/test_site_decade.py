"""Two outages of a small world on the site's own path: what sheet, plan, pump and record say is one thing."""

import logging

import pytest

from inspections.models import Event, Reading, Visit
from tests.bench.decision_world import HISTORY, LIMIT
from tests.bench.site_world import (
    OnSite,
    Remembered,
    clock_in_hand,
    day_of,
    played_on_site,
    without_findings,
)

# The clock is set by hand, and PostgreSQL stamps entries by its own.
pytestmark = [pytest.mark.sqlite, pytest.mark.django_db]
PLAYED = 2


@pytest.fixture(scope="module")
def player(record_of_module) -> OnSite:
    """Three pumps, two outages."""
    logging.disable(logging.INFO)
    with clock_in_hand() as hand:
        made = played_on_site(Remembered(without_findings(6, 1)), hand, PLAYED)
    logging.disable(logging.NOTSET)
    return made


def test_a_pump_is_opened_where_the_accepted_plan_opens_it_and_nowhere_else(player):
    opened = {(one.opened_on, one.place_id) for one in Visit.objects.filter(opened_on__gte=_first_day())}
    place = {str(one.pk): one.place_id for one in player.bearings}
    days = {str(one.pk): one.start_on for one in player.site.outages.all()}
    wanted = {
        (days[job["outage"]], place[job["bearing"]])
        for n, plan in enumerate(player.plans)
        for job in plan.jobs
        if days[job["outage"]] == day_of(HISTORY - 1 + n)
    }
    assert opened == wanted and len(opened) >= 3
    assert len(opened) == player.plant.sums["openings"]


def test_a_reading_is_held_against_the_trigger_that_the_plan_printed_and_the_word_follows_it(player):
    for one in player.looked:
        assert one.held == one.planned, one
        if one.planned[0] == "reading" and not one.signed:
            assert one.renewed == (one.found_um >= float(one.planned[1])), one
    assert {one.renewed for one in player.looked} == {True, False}


def test_nothing_at_or_over_its_maximum_is_closed_up_without_a_persons_word(player):
    over = [one for one in player.looked if one.found_um >= LIMIT]
    assert over and all(one.renewed or one.signed for one in over)
    assert all(one.readings > 1 for one in over)


def test_what_is_done_is_done_and_does_not_come_back(player):
    assert {one.state for one in player.looked} == {"done"}
    assert player.back == []


def test_the_record_holds_what_the_world_counted(player):
    shells = Event.objects.standing().filter(kind="shell_change", on__gte=_first_day())
    found = Reading.objects.standing().filter(stage="as_found", counts=True, on__gte=_first_day())
    assert shells.count() == player.plant.sums["shells"] == sum(one.renewed for one in player.looked) > 0
    assert sorted(float(one.value_um) for one in found) == sorted(one.found_um for one in player.looked)


def _first_day():
    return day_of(HISTORY - 1)
