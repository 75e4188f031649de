"""A work that the readings around it speak against is asked about, and one that they bear out is not."""

import pytest

from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from inspections.models import Event
from tests import makers

pytestmark = pytest.mark.django_db
HEADS = "pump,position,date,event,stage,method,value,unit,reason,note,shell"


@pytest.fixture(autouse=True)
def pump():
    place = makers.a_place(tag="P-1")
    makers.a_bearing(place=place, limits={})


def sheet(found, left, work="", note="", reason="", shell=""):
    """One visit: as found, a work as an event or in the words of a remark, as left. mm,
    bore gauge (sd 5 um).
    """
    rows = [f"P-1,DE,2010-05-02,reading,as_found,bore_gauge,{found},mm,,{note},"]
    rows += [f"P-1,DE,2010-05-02,{work},,,,,{reason},,{shell}"] if work else []
    rows += [f"P-1,DE,2010-05-02,reading,as_left,bore_gauge,{left},mm,,,"]
    return "\n".join([HEADS, *rows]) + "\n"


def bring(words, *given, only_look=True):
    answers = Answers()
    for code, about, choice in given:
        answers.add(code, about, choice)
    return import_file(
        words.encode(), "a.csv", holds="history", by=makers.somebody(), answers=answers, only_look=only_look
    )


def codes(words, *given):
    return [one.code for one in bring(words, *given).questions if "drop" in one.code]


def test_new_metal_that_lowered_no_clearance_beyond_two_sd_is_asked_about():
    # sd of the difference 5 x sqrt(2) = 7.07 um, twice that 14.1 um.
    assert codes(sheet("0.300", "0.287", "shell_change")) == ["work_without_drop"]
    assert codes(sheet("0.300", "0.285", "shell_change")) == []
    assert codes(sheet("0.300", "0.310", "shell_change")) == ["work_without_drop"]


def test_a_scrape_that_lowered_a_clearance_beyond_two_sd_is_asked_about():
    assert codes(sheet("0.300", "0.285", "scrape")) == ["scrape_with_drop"]
    assert codes(sheet("0.300", "0.287", "scrape")) == []
    assert codes(sheet("0.300", "0.320", "scrape")) == []


def test_a_shell_changed_as_a_precaution_need_lower_nothing():
    assert codes(sheet("0.160", "0.155", "shell_change", reason="precaution")) == []
    assert codes(sheet("0.160", "0.155", "shell_change", reason="worn")) == ["work_without_drop"]


def test_a_shell_named_by_its_serial_is_doubted_only_where_nothing_fell():
    assert codes(sheet("0.300", "0.296", "shell_change", shell="SL-300-0972")) == []
    assert codes(sheet("0.300", "0.310", "shell_change", shell="SL-300-0972")) == ["work_without_drop"]


def test_a_work_that_only_a_remark_tells_of_is_held_against_the_readings_too():
    said = ("remark_names_work", "shell_change|DE", "yes")
    assert codes(sheet("0.200", "0.215", note="new brgs"), said) == ["work_without_drop"]


@pytest.mark.parametrize(
    ("choice", "kind"), [("right", "shell_change"), ("scrape", "scrape"), ("nothing", "note")]
)
def test_what_was_done_is_stored_as_answered(choice, kind):
    words = sheet("0.200", "0.215", "shell_change")
    assert bring(words, ("work_without_drop", "", choice), only_look=False).ok
    assert [row.kind for row in Event.objects.standing()] == [kind]
