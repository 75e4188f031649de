"""A reading plan is named to those at whose sites it is known, and to nobody else."""

import pytest

from fleet.importing.kept_files import plan_names, plans_kept
from fleet.ledger.writing import Fact, write
from fleet.models import ReadingPlan
from tests import makers

pytestmark = pytest.mark.django_db


def test_a_plan_of_another_site_is_not_named_on_the_page_of_sheets(client):
    own, other = makers.a_site(), makers.a_site()
    keeper = makers.an_account(role="engineer", site=other)
    plan = ReadingPlan(name="Otherwater layout", body={"columns": {}})
    write([Fact("plant", "reading_plan", plan)], by=keeper.person_id)
    client.force_login(makers.an_account(role="engineer", site=own))
    assert "Otherwater layout" not in client.get("/import/").content.decode()
    client.force_login(makers.an_account(role="engineer", site=other))
    assert "Otherwater layout" in client.get("/import/").content.decode()
    assert plan_names(frozenset({own.pk})) == [] and plans_kept(frozenset({own.pk})) == []
    assert plan_names() == ["Otherwater layout"]
