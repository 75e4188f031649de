"""A bearing's record in a visit and its rules stand without a screen: no request, no address."""

import pytest

from inspections.models import Stage
from inspections.visits.device_memory import DeviceMemory
from inspections.visits.visit_record import VisitRecord
from inspections.visits.visit_rules import VisitRules
from tests import makers

pytestmark = pytest.mark.django_db


def test_a_visit_is_judged_without_a_screen():
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing, value="0.210", stage=Stage.AS_FOUND)
    visit = reading.visit
    memory = DeviceMemory({}, visit.pk, makers.somebody(), visit.opened_on)
    memory.remember(**{"setup clearance": {"unit": "thou", "method": "feeler"}})
    rules = VisitRules(VisitRecord(bearing, visit, visit.opened_on, memory))

    assert [row.pk for row in rules.record.readings] == [reading.pk]
    assert not rules.worked
    assert rules.setup_for("clearance").unit == "thou"
    assert rules.verdict_on(reading).text


def test_a_device_remembers_by_visit_and_puts_the_name_last_picked_first():
    session: dict = {}
    own, other = makers.a_person(name="A. Fitter").id, makers.a_person(name="B. Clerk").id
    visit = makers.a_reading().visit
    memory = DeviceMemory(session, visit.pk, own, visit.opened_on)
    memory.remember(measured_by=str(other))
    memory.pick(own)
    memory.pick(other)

    again = DeviceMemory(session, visit.pk, own, visit.opened_on)
    assert (again.measured_by, again.recorded_by) == (other, own)
    assert again.picked == [str(other), str(own)]
    assert DeviceMemory(session, None, own, visit.opened_on).measured_by == own
