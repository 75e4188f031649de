"""A newcomer with one history workbook comes from an empty site to first dates within thirty clicks."""

import pytest

from fleet.models import Bearing
from fleet.plant.accounts import admit
from tests import makers
from tests.imports.first_afternoon import MOST_CLICKS, Newcomer, workbook

pytestmark = pytest.mark.django_db


def test_from_an_empty_site_to_which_bearing_comes_first_in_thirty_clicks(app):
    _, password = admit(name="A. Quill", role="engineer", site=None, by=makers.somebody(), new_password=False)
    newcomer = Newcomer(app)
    newcomer.walk(workbook(3, worst=2), "A. Quill", password)
    said = " ".join(newcomer.page.html.get_text(" ").replace("\u00a0", " ").split())
    assert Bearing.objects.standing().count() == 6
    assert "6 of 6 bearings have dates." in said and "Marl 2 NDE comes first" in said
    assert "What the first dates say Marl 2 NDE : Over its maximum of 300 µm" in said
    assert sum(step.clicks for step in newcomer.steps) <= MOST_CLICKS
