"""The word at the open pump: the table in its order, in numbers and words, without a database."""

import pytest

from inspections.visits.word_at_pump import (
    CLOSE_UP,
    CLOSING_LIST,
    DONE,
    ENGINEER,
    HOLD,
    MEASURE,
    NEW_SHELL,
    NOT_DONE,
    REPAIR,
    REPEAT,
    REPLACE,
    SCRAPE,
    USE_AS_IS,
    Answer,
    Held,
    ListAnswers,
    Print,
    Ruling,
    Situation,
    advise,
    before_closing,
    listed,
)

WIPED = {"damage": {"1": "lower half: wiped"}}
ASTRIDE = {"prints": [Print("p", "lower", "repeat", "Repeat the check: the print is patchy.")]}
UNDER = {"held": [Held("u", "under", "as left, pump end", "Too tight: under 0.120 mm.", again=True)]}
OVER = {"held": [Held("o", "over", "as found, pump end", "Over the limit of 0.300 mm.", again=True)]}
DOUBTED = {"doubted": {"r": "as found, pump end"}}
NO_AS_LEFT = {"worked": True, "unmeasured": ["pump end", "outer end"]}
OWED = {"prints": [Print("s", "lower", "scrape", "Scrape both ends.")], "scrapeable": True}


def closes(scrape_owed: bool) -> Ruling:
    return Ruling(CLOSE_UP, "5 in 100.", 0.05)


def replaces(scrape_owed: bool) -> Ruling:
    return Ruling(REPLACE, "20 in 100, more than is accepted.", 0.2)


def word(*parts: dict, rule=closes) -> str:
    return advise(Situation(**{name: value for part in parts for name, value in part.items()}), rule).word


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        (WIPED, HOLD),
        (ASTRIDE, REPEAT),
        (UNDER, HOLD),
        (OVER, REPLACE),
        (DOUBTED, MEASURE),
        (NO_AS_LEFT, MEASURE),
        (OWED, SCRAPE),
        ({"prints": [Print("a", "lower", "alignment", "")]}, ENGINEER),
        ({"prints": [Print("a", "lower", "seat", "")]}, ENGINEER),
        ({"prints": [Print("m", "lower", "measure", "")]}, MEASURE),
        ({"prints": [Print("v", "lower", "void", "")]}, REPEAT),
        ({"prints": [Print("v", "lower", "void", "", spherical=True)]}, ENGINEER),
        ({"prints": [Print("g", "lower", "acceptable", "")]}, CLOSE_UP),
        ({"prints": [Print("m", "lower", "measure", "Hollow.")]}, MEASURE),
        ({"prints": [Print("m", "lower", "measure", "Hollow.", engineer=True)]}, ENGINEER),
        ({}, CLOSE_UP),
    ],
)
def test_each_row_gives_its_word_and_none_of_them_closes_up(facts, said):
    assert word(facts) == said


def test_the_first_that_holds_gives_the_word_in_the_order_of_the_table():
    rows = [(WIPED, HOLD), (ASTRIDE, REPEAT), (UNDER, HOLD), (DOUBTED, MEASURE), (NO_AS_LEFT, MEASURE)]
    for n in range(len(rows)):
        assert word(*[facts for facts, _ in reversed(rows[n:])]) == rows[n][1]
    said = advise(Situation(**WIPED, **ASTRIDE, **UNDER), closes)
    assert [row.word for row in said.standing] == [HOLD, REPEAT, HOLD] and len(said.also) == 2


@pytest.mark.parametrize("above", [WIPED, ASTRIDE, UNDER, DOUBTED, NO_AS_LEFT])
def test_a_new_shell_is_advised_only_when_nothing_above_it_holds(above):
    assert word(rule=replaces) == REPLACE
    assert word(above, rule=replaces) != REPLACE


def test_at_or_over_the_maximum_chance_alone_never_closes_up():
    once = Held("o", "over", "as found, pump end", "May be over the limit of 0.300 mm.", again=False)
    assert word({"held": [once]}) == MEASURE
    assert word(OVER) == REPLACE, "measured again and still over: not closed up at 4 in 100"


def test_too_tight_is_measured_again_and_then_holds():
    once = Held("u", "under", "as left, pump end", "Too tight.", again=False)
    assert word({"held": [once]}) == MEASURE and word(UNDER) == HOLD
    new = Held("f", "over", "as left, pump end", "Over the fitting range.", again=True, fitting=True)
    assert word({"held": [new]}) == HOLD, "a new shell outside its fitting range is not replaced by itself"


def test_a_print_that_asks_for_the_clearance_stands_behind_one_that_was_measured_again_and_is_too_tight():
    wide = {"prints": [Print("m", "lower", "measure", "Measure before doing more.")]}
    once = Held("u", "under", "as found, pump end", "Too tight.", again=False)
    assert word(wide, UNDER) == HOLD and word(wide, {"held": [once]}) == MEASURE
    assert word(ASTRIDE, UNDER) == REPEAT and word(OVER, wide) == MEASURE


def test_what_is_said_before_closing_leaves_out_what_the_pump_asks_for_in_its_own_words():
    parts = (WIPED, ASTRIDE, DOUBTED, NO_AS_LEFT, {"rivals": {"r": "as found, pump end"}})
    now = Situation(**{name: value for part in parts for name, value in part.items()})
    assert [row.word for row in before_closing(now)] == [HOLD, REPEAT, MEASURE]
    assert before_closing(Situation(**OWED)) == () == before_closing(Situation())


@pytest.mark.parametrize("may", [False, None])
def test_a_finding_on_a_shell_that_must_not_be_scraped_or_is_not_known_asks_the_engineer(may):
    assert word(OWED, {"scrapeable": may}) == ENGINEER
    assert word(OWED, {"scrapeable": may}, rule=replaces) == ENGINEER


def test_a_scrape_is_weighed_by_the_rule_with_its_step_counted_in():
    asked = []
    advise(Situation(**OWED), lambda owed: asked.append(owed) or closes(owed))
    advise(Situation(), lambda owed: asked.append(owed) or closes(owed))
    assert asked == [True, False]
    assert word(OWED, rule=replaces) == REPLACE
    assert word(OWED, OVER) == REPLACE, "metal is not taken off a shell that is over its maximum"


def test_scraped_after_its_last_print_it_is_printed_again():
    assert (
        word({"prints": [Print("s", "lower", "scrape", "", scraped_since=True)], "scrapeable": True})
        == REPEAT
    )
    assert word({"prints": [Print("g", "lower", "acceptable", "", scraped_since=True)]}) == REPEAT


def test_a_void_print_of_the_unloaded_half_asks_nothing_where_the_loaded_half_carries():
    both = [Print("u", "upper", "void", ""), Print("l", "lower", "acceptable", "")]
    assert word({"prints": both}) == CLOSE_UP


def test_as_left_said_not_to_be_measured_is_the_engineers():
    assert word({"worked": True, "excused": ["pump end"]}) == ENGINEER
    assert word({"excused": ["pump end"]}) == CLOSE_UP


def test_a_disposition_answers_what_stood_and_nothing_that_came_after():
    signed = Answer(USE_AS_IS, frozenset({"damage 1"}))
    assert word(WIPED, {"answers": [signed]}) == CLOSE_UP
    assert (
        word({"damage": {"1": "lower half: wiped", "2": "upper half: cracked"}, "answers": [signed]}) == HOLD
    )
    assert word(WIPED, UNDER, {"answers": [signed]}) == HOLD
    assert word(WIPED, {"answers": [signed]}, rule=replaces) == REPLACE


def test_a_disposition_to_repair_holds_until_work_is_recorded_and_one_to_replace_says_so():
    assert word(WIPED, {"answers": [Answer(REPAIR, frozenset({"damage 1"}))]}) == HOLD
    assert word(WIPED, {"answers": [Answer(REPAIR, frozenset({"damage 1"}), worked_since=True)]}) == CLOSE_UP
    assert word(WIPED, {"answers": [Answer(NEW_SHELL, frozenset({"damage 1"}))]}) == REPLACE


def test_an_accepted_chance_is_answered_for_the_chance_that_was_signed_only():
    (row,) = advise(Situation(), replaces).standing
    assert word({"answers": [Answer(USE_AS_IS, frozenset({row.key}))]}, rule=replaces) == CLOSE_UP
    worse = lambda owed: Ruling(REPLACE, "60 in 100, more than is accepted.", 0.6)  # noqa: E731
    assert word({"answers": [Answer(USE_AS_IS, frozenset({row.key}))]}, rule=worse) == REPLACE


def test_close_up_says_what_was_seen_and_never_more_than_was_looked_at():
    assert advise(Situation(), closes).why.endswith("Nothing was found that asks for more.")
    nothing = advise(Situation(measured=False), closes).why
    assert "Nothing was measured in this visit." in nothing and "Nothing was found" not in nothing
    assert "journal: rusted" in advise(Situation(seen=["journal: rusted"]), closes).why


def test_an_entry_of_a_list_is_a_word_or_a_word_of_one_part():
    found = {"backs": ["fretted"], "lower half": ["fretted", "wiped"]}
    assert listed(found, ["backs: fretted", "wiped"]) == ["backs: fretted", "lower half: wiped"]


def test_what_of_the_closing_list_was_not_done_needs_its_reason():
    done = dict.fromkeys(CLOSING_LIST, DONE)
    assert ListAnswers(done).faults() == []
    assert len(ListAnswers().faults()) == len(CLOSING_LIST)
    undone = done | {"cap_torque": NOT_DONE}
    assert ListAnswers(undone).faults() == ["Say why it was not done or not measured: cap at its torque."]
    assert ListAnswers(undone, {"cap_torque": "no wrench"}).faults() == []


def test_a_reading_outside_that_was_not_expected_asks_once_to_be_measured_again():
    tight = Held("t", "under", "as found, pump end", "Too tight: under 0.120 mm.", again=False)
    both = Situation(held=[tight], doubted={"r": "as found, pump end", "s": "as found, outer end"})
    rows = advise(both, closes).standing
    assert [row.key for row in rows] == ["t", "doubted s"]
    signed = Situation(
        held=[tight],
        doubted={"r": "as found, pump end"},
        answers=[Answer("use_as_is", frozenset({"t"}))],
    )
    assert advise(signed, closes).word == CLOSE_UP
