"""The site that most tests of plans begin from, and its plan in hand: made once a file, for making them costs
more than what is asked of them.
"""

import datetime as dt

import pytest

from dashboards.outage_plan.versions import propose
from fleet.models import Site
from inspections.models import DraftPlan
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet


@pytest.fixture(scope="module")
def day_of_plan(request) -> dt.date:
    """The day from which a file's plan looks: its TODAY."""
    return request.module.TODAY


@pytest.fixture(scope="module")
def planned(record_of_module, day_of_plan) -> tuple[Site, DraftPlan]:
    """The site and its plan in hand, there for every test of the file."""
    site = a_fleet(day_of_plan)
    return site, propose(site, day_of_plan, by=makers.somebody())


@pytest.fixture
def site(planned) -> Site:
    return Site.objects.get(pk=planned[0].pk)


@pytest.fixture
def draft(planned) -> DraftPlan:
    return DraftPlan.objects.get(pk=planned[1].pk)
