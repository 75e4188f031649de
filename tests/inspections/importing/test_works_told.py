"""Works that remarks tell of, from the sheet to the record: each at its own bearing, none unseen."""

import pytest

from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.models import Bearing, Name
from fleet.plant.acts import record
from inspections.models import Event
from tests import makers

pytestmark = pytest.mark.django_db
HEADS = "pump,position,date,event,stage,method,value,unit,note\n"


@pytest.fixture
def pump():
    place = makers.a_place(tag="P-1")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position, limits={})
    return place


def sheet(note, date="2010-05-02"):
    """Both bearings measured, and a remark of the pump beside them."""
    rows = [
        f"P-1,{end},{date},reading,as_found,feeler,{value},mm,"
        for end, value in (("DE", "0.20"), ("NDE", "0.21"))
    ]
    return HEADS + "\n".join([*rows, f"P-1,,{date},note,,,,,{note}"]) + "\n"


def look(words, answers=None, **more):
    return import_file(
        words.encode(),
        "a.csv",
        holds="history",
        by=makers.somebody(),
        answers=answers,
        only_look=True,
        **more,
    )


def asked(words):
    """Each question of remarks: kind of question, what about."""
    return sorted((one.code, one.about) for one in look(words).groups)


def stored(words, *given):
    """What a sheet becomes once these questions are answered."""
    answers = Answers()
    for code, about, choice in given:
        answers.add(code, about, choice)
    result = import_file(words.encode(), "a.csv", holds="history", by=makers.somebody(), answers=answers)
    assert result.ok, [one.line() for one in result.findings]
    rows = Event.objects.standing().select_related("bearing")
    return sorted((row.kind, row.bearing.name if row.bearing else "") for row in rows)


def test_two_works_of_one_remark_are_asked_about_each_at_its_own_bearing(pump):
    words = sheet('"DE scraped, ok; NDE new brgs"')
    assert asked(words) == [("remark_names_work", "scrape|DE"), ("remark_names_work", "shell_change|NDE")]
    told = stored(
        words, ("remark_names_work", "scrape|DE", "yes"), ("remark_names_work", "shell_change|NDE", "yes")
    )
    assert told == [("scrape", "DE"), ("shell_change", "NDE")]


def test_a_work_whose_clause_names_no_position_is_asked_about_for_each_bearing_alone(pump):
    words = sheet("scraped in")
    assert asked(words) == [("remark_names_work", "scrape|DE"), ("remark_names_work", "scrape|NDE")]
    told = stored(words, ("remark_names_work", "scrape|DE", "yes"), ("remark_names_work", "scrape|NDE", "no"))
    assert told == [("scrape", "DE")]


def test_the_question_shows_the_position_beside_each_work(pump):
    assert [one.about_words for one in look(sheet("scraped in")).groups] == ["scrape at DE", "scrape at NDE"]


def test_a_learnt_spelling_of_a_position_holds_inside_remarks(pump):
    bearing = Bearing.objects.get(place=pump, name="NDE")
    row = Name(
        of="bearing",
        thing=bearing.pk,
        site_id=pump.site_id,
        text="Far side",
        folded="far side",
        spelling=True,
    )
    record([row], by=makers.somebody())
    assert asked(sheet("Far side scraped")) == [("remark_names_work", "scrape|NDE")]


def test_a_remark_beside_one_bearing_that_names_the_other_is_of_the_other(pump):
    words = HEADS + "P-1,DE,2010-05-02,reading,as_found,feeler,0.20,mm,NDE new brgs\n"
    assert asked(words) == [("remark_names_work", "shell_change|NDE")]
    words = HEADS + "P-1,DE,2010-05-02,reading,as_found,feeler,0.20,mm,new brgs\n"
    assert asked(words) == [("remark_names_work", "shell_change|DE")]


def test_a_work_recorded_at_the_other_bearing_answers_no_remark_that_names_this_one(pump):
    words = sheet("DE scraped") + "P-1,NDE,2010-05-02,scrape,,,,,\n"
    assert asked(words) == [("remark_names_work", "scrape|DE")]
    assert asked(sheet("DE scraped") + "P-1,DE,2010-05-02,scrape,,,,,\n") == []


@pytest.mark.parametrize(
    ("choice", "kind"), [("scrape", "scrape"), ("shell_change", "shell_change"), ("nothing", "note")]
)
def test_scrapped_is_scraped_or_thrown_away_as_somebody_says(pump, choice, kind):
    words = sheet('"DE old shell scrapped, cracked"')
    assert asked(words) == [("scrapped_or_scraped", "DE")]
    assert [k for k, _ in stored(words, ("scrapped_or_scraped", "DE", choice))] == [kind]


def test_remarks_alike_of_two_days_can_be_answered_apart(pump):
    words = sheet("DE scraped") + sheet("DE scraped", "2012-05-02").removeprefix(HEADS)
    (group,) = look(words).groups
    assert len(group.rows) == 2 and len({row.ident for row in group.rows}) == 2


def test_many_remarks_alike_are_one_row_with_one_answer(pump):
    words = sheet("DE scraped") + "".join(
        sheet("DE scraped", f"{1960 + n}-05-02").removeprefix(HEADS) for n in range(45)
    )
    group = next(one for one in look(words).groups if one.code == "remark_names_work")
    assert [row.n for row in group.rows] == [46]
    answers = Answers()
    answers.add(group.code, group.about, "yes", "", [group.rows[0].ident])
    assert not [one for one in look(words, answers).groups if one.code == "remark_names_work"]


FALLS = HEADS + "\n".join(
    f"P-1,NDE,{date},reading,as_found,feeler,{value},mm,"
    for date, value in (("2006-05-02", "0.26"), ("2010-05-02", "0.27"), ("2014-05-02", "0.16"))
)
NEW = "\nP-1,,2010-05-02,note,,,,,NDE new brgs\n"


def codes(result):
    return sorted((group.code, group.about) for group in result.groups)


def test_what_the_answer_about_a_work_may_dissolve_is_not_asked_beside_it(pump):
    assert codes(look(FALLS + "\n")) == [("jump", "")]
    assert codes(look(FALLS + NEW)) == [("remark_names_work", "shell_change|NDE")]
    answers = Answers()
    answers.add("remark_names_work", "shell_change|NDE", "yes")
    assert codes(look(FALLS + NEW, answers)) == []
    denied = Answers()
    denied.add("remark_names_work", "shell_change|NDE", "no")
    assert codes(look(FALLS + NEW, denied)) == [("jump", "")]


def test_what_was_not_asked_beside_a_work_is_set_aside_with_it_and_never_stored_unasked(pump):
    result = look(FALLS + NEW, options=Options(set_aside="ask the foreman"))
    assert sorted(row.sheet_row for row in result.rows) == [2, 3] and result.counts.set_aside == 2
