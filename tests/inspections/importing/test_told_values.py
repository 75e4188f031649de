"""What free text tells of: clearances and contact shares proposed beside it, stored only where somebody
confirms them.
"""

import re

import pytest

from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from inspections.importing.told_values import told_values
from inspections.models import Event, Reading
from tests import makers

NAMES = {
    "DE": re.compile(r"(?<!\w)(?<!N[.-])D\.?E\b\.?"),
    "NDE": re.compile(r"N[.-]?D\.?E\b\.?"),
    "AS": re.compile(r"\bAS\b"),
}


def told(note):
    return [
        " ".join(part for part in ("+".join(one.positions), one.text, one.unit, one.stage) if part)
        for one in told_values(note, NAMES)
    ]


@pytest.mark.parametrize(
    ("note", "values"),
    [
        (
            "clr DE .0065/.007 NDE .0095, scraped 2 thou, blue 80 %",
            ["DE .0065/.007", "NDE .0095", "80 %"],
        ),
        (
            "DE found 0.15 mm, left 0.12 mm; NDE ok",
            ["DE 0.15 mm as_found", "DE 0.12 mm as_left"],
        ),
        ("DE .0065 found .0045 left", ["DE .0065 as_found", "DE .0045 as_left"]),
        ("clearance 6 thou DE, 7 thou NDE", ["DE 6 thou", "NDE 7 thou"]),
        ("DE scraped 2 thou, left .0045", ["DE .0045 as_left"]),
        ("DE before .0065, after .0045", ["DE .0065 as_found", "DE .0045 as_left"]),
        ("scraped to .0045", [".0045 as_left"]),
        ("DE and NDE both .006 in", ["DE+NDE .006 in"]),
        ("lift check DE 9 1/2 thou", ["DE 9 1/2 thou"]),
        ("DE 80% contact, NDE 75% contact", ["DE 80 %", "NDE 75 %"]),
        ("Spiel AS 0,15 mm, geschabt, Tragbild 80 %", ["AS 0.15 mm", "AS 80 %"]),
        ("Lagerspiel AS vorher 15/100 mm", ["AS 0.15 mm as_found"]),
        ("took out 0.05 shim, DE .006", ["DE .006"]),
    ],
)
def test_clearances_and_shares_are_read_with_their_bearing_stage_and_unit(note, values):
    assert told(note) == values


@pytest.mark.parametrize(
    "note",
    [
        "clr max .012",
        "DE limit 12 thou",
        "Spiel AS max. 0,30 mm",
        "zul. Lagerspiel 0,30 mm",
        "clr not over .012",
        "clearance should be .006 DE",
        "DE clr was .010 last overhaul",
        "side clearance DE .020",
        "Axialspiel 0,4 mm",
        "removed .002 from DE",
        "changed 12.03.2014, WO 12345, 2 new shims",
        "temp 65 C, vib 2.1 mm/s DE",
        "DE oil changed 40 l",
        "pump 80 % load",
    ],
)
def test_limits_targets_other_gaps_steps_and_other_figures_are_no_clearances(note):
    assert told(note) == []


HEADS = "pump,position,date,event,stage,method,value,unit,note\n"
LOG = HEADS + 'P-1,,2010-05-02,note,,,,,"clr DE .0065/.007 NDE .0095, scraped 2 thou, blue 80 %"\n'
TWO, ONE, SHARE = "remark_clearance_two_no_unit", "remark_clearance_no_unit", "remark_contact"


@pytest.fixture
def pump():
    place = makers.a_place(tag="P-1")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position, limits={})
    return place


def bring(words, answers=None, **more):
    return import_file(
        words.encode(), "log.csv", holds="history", by=makers.somebody(), answers=answers, **more
    )


def confirmed(result, rows_of_share=("DE",)):
    """Every proposal confirmed as a person would: clearances in inches, the share at DE,
    the scrape at both.
    """
    answers = Answers()
    for group in result.groups:
        choice, value = {
            TWO: ("ends_diametral", "in"),
            ONE: ("diametral", "in"),
            SHARE: ("yes" if group.about.partition("|")[0] in rows_of_share else "no", ""),
            "remark_names_work": ("yes", ""),
            "stage_unclear": ("as_found", ""),
        }.get(group.code, ("right", ""))
        answers.add(group.code, group.about, choice, value, [row.ident for row in group.rows])
    return answers


@pytest.mark.django_db
def test_a_work_order_text_becomes_proposals_and_what_is_confirmed_is_stored(pump):
    asked = bring(LOG, only_look=True)
    told = {(one.code, one.about_words) for one in asked.groups}
    assert told == {
        (TWO, ".0065/.007 at DE"),
        (ONE, ".0095 at NDE"),
        (SHARE, "80 % at DE"),
        (SHARE, "80 % at NDE"),
        ("remark_names_work", "scrape at DE"),
        ("remark_names_work", "scrape at NDE"),
    }
    sure = {one.about_words: [row.is_sure for row in one.rows] for one in asked.groups}
    assert sure[".0095 at NDE"] == [True] and sure["80 % at DE"] == [False]  # nobody said which bearing
    answers = confirmed(asked)
    later = bring(LOG, answers, only_look=True)
    assert {one.code for one in later.groups} <= {"stage_unclear"}
    for key, said in confirmed(later):
        answers.add_said(key, said)
    result = bring(LOG, answers)
    assert result.ok, [one.line() for one in result.findings]
    readings = Reading.objects.standing().select_related("bearing")
    assert sorted(
        (r.bearing.name, r.end, r.typed, r.unit, r.basis, f"{r.value_um.normalize():f}") for r in readings
    ) == [
        ("DE", "in", ".0065", "in", "diametral", "165.1"),
        ("DE", "out", ".007", "in", "diametral", "177.8"),
        ("NDE", "", ".0095", "in", "diametral", "241.3"),
    ]
    contact = Event.objects.standing().get(kind="contact_check")
    assert (contact.bearing.name, contact.contact_percent) == ("DE", 80)
    again = bring(LOG)
    assert again.ok and again.counts.stored == 0
    assert Reading.objects.standing().count() == 3


@pytest.mark.django_db
def test_nothing_of_a_text_is_stored_without_an_answer_and_no_keeps_the_words(pump):
    assert not bring(LOG).ok and not Reading.objects.exists()
    answers = Answers()
    for group in bring(LOG, only_look=True).groups:
        answers.add(group.code, group.about, "no")
    assert bring(LOG, answers).ok
    assert not Reading.objects.exists()
    assert [one.kind for one in Event.objects.standing()] == ["note"]


@pytest.mark.django_db
def test_a_value_that_a_row_of_its_own_holds_is_not_asked_about_again(pump):
    rows = (
        'P-1,DE,2010-05-02,reading,as_found,feeler,0.165,mm,\nP-1,,2010-05-02,note,,,,,"DE 0.165 mm found"\n'
    )
    assert bring(HEADS + rows, only_look=True).groups == []


@pytest.mark.django_db
def test_rows_made_of_one_remark_keep_its_order(pump):
    log = HEADS + 'P-1,,2010-05-02,note,,,,,"DE .0085 in found, .0060 in left"\n'
    answers = Answers()
    for group in bring(log, only_look=True).groups:
        answers.add(group.code, group.about, "diametral")
    assert bring(log, answers).ok
    rows = Reading.objects.standing().order_by("entry_n")
    assert [(r.typed, r.stage) for r in rows] == [(".0085", "as_found"), (".0060", "as_left")]


@pytest.mark.parametrize(
    ("note", "is_read"),
    [
        ("the pump of South lift 4 set down here", False),
        ("lift 4", False),
        ("lift 7 thou", True),
        ("lift 0.18 mm", True),
        ("lift check 7", True),
    ],
)
def test_a_pump_called_lift_is_no_clearance(note, is_read):
    assert bool(told_values(note)) is is_read
