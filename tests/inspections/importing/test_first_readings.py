"""A plant's own sheet whose record begins at new clearance: asked once whether the shell was new then."""

import pytest

from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan
from inspections.models import Event, Reading
from tests import makers

pytestmark = pytest.mark.django_db
PLAN = Plan(
    (
        ColumnPlan(0, "date", "date"),
        ColumnPlan(1, "value", "DE (mm)", position="DE", unit="mm", method="bore_gauge"),
        ColumnPlan(2, "event", "work"),
    ),
    pump="= P-1",
    basis="diametral",
)


@pytest.fixture(autouse=True)
def pump():
    place = makers.a_place(tag="P-1")
    limits = {"fitting_min": 120, "fitting_max": 140, "in_service_max": 260}
    makers.a_bearing(place=place, position="DE", limits=limits)


def brought(*rows, choice="", only_look=False):
    """Rows "day,value,work"; mm, bore gauge (sd 5 um)."""
    answers = Answers()
    if choice:
        answers.add("first_near_new", "", choice)
    words = "\n".join(["date,DE (mm),work", *rows]) + "\n"
    return import_file(
        words.encode(),
        "a.csv",
        holds="history",
        by=makers.somebody(),
        plan=PLAN,
        answers=answers,
        only_look=only_look,
    )


def asked(*rows):
    return [one.code for one in brought(*rows, only_look=True).questions if one.code == "first_near_new"]


LATER = "2014-05-02,0.160,"


def test_a_record_that_begins_within_the_fitting_range_is_asked_about_and_one_beyond_it_is_not():
    # the range widened by one sd of the reading, 5 um: 115 to 145 um
    assert asked("2010-05-02,0.144,", LATER) == ["first_near_new"]
    assert asked("2010-05-02,0.116,", LATER) == ["first_near_new"]
    assert asked("2010-05-02,0.146,", LATER) == []
    assert asked("2010-05-02,0.130,") == []  # nothing later whose wear it would tell


@pytest.mark.parametrize(("choice", "kinds"), [("new", ["shell_change"]), ("right", [])])
def test_new_metal_is_stored_before_its_reading_only_where_it_is_answered_so(choice, kinds):
    assert brought("2010-05-02,0.130,", LATER, choice=choice).ok
    assert [(row.kind, str(row.on)) for row in Event.objects.standing()] == [(k, "2010-05-02") for k in kinds]
    first = Reading.objects.standing().order_by("on").first()
    assert first.stage == ("as_left" if kinds else "as_found")
