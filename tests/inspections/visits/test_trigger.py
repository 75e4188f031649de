"""One trigger: what list and page say of a bearing is what a reading at its open pump is held against."""

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest

from fleet.ledger.writing import Fact, write
from fleet.plant.limits import set_limits
from inspections.forecasts.judgement.accepted import AcceptedTrigger
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Column, Judgement, Why, Word
from inspections.models import Plan, Reading
from inspections.records.corrections import correct_reading
from inspections.records.recording import close_visit, open_visit
from inspections.visits import expectations
from inspections.visits.trigger_at_pump import Clearance, by_trigger, opening_of, under_plan
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, MEASURE, REPLACE, Situation, standing_rows
from inspections.visits.word_at_pump import Held as NotInside
from tests import makers
from tests.inspections.visits.walk import a_mechanic, at, begin, read, said, today_of

DAY = dt.date(2026, 6, 1)
OUTAGE = Column("summer 2026", "1", dt.date(2026, 5, 25), dt.date(2026, 6, 10), True)


def column(trigger=287.0, scrape=275.0, **more):
    states = {"trigger_is": "reading", "scrape_is": "reading", "trigger_from": "rule", "new": 0.4}
    return Column(**vars(OUTAGE) | {"trigger_um": trigger, "scrape_from_um": scrape} | states | more)


def judged(*columns, word=Word.OPEN, why=Why.COST, **more):
    return Judgement(DAY, word, why, columns, first=0, accepted_risk=0.1, **more)


def rules(value, owed=False, new_metal=False, opening=None, **more):
    found = None if value is None else Clearance(value, 4.0, **more)
    opening = opening or opening_of(judged(column()), DAY)
    return by_trigger(opening, found, new_metal)(owed)


def test_at_or_over_the_trigger_it_is_replaced_and_below_closed_up():
    assert [rules(v, again=True).word for v in (286.9, 287.0, 300.0)] == [CLOSE_UP, REPLACE, REPLACE]
    assert "at or over its trigger of 287" in rules(300.0).why and "more than 1 in 10" in rules(300.0).why


def test_a_scrape_owed_is_held_against_the_lower_reading():
    assert [rules(v, owed=True, again=True).word for v in (274.0, 276.0)] == [CLOSE_UP, REPLACE]
    no_room = opening_of(judged(column(no_room=True)), DAY)
    assert rules(200.0, owed=True, opening=no_room).word == ENGINEER
    assert rules(200.0, opening=no_room).word == CLOSE_UP


@pytest.mark.parametrize("value", [280.0, 294.0])
def test_no_shell_is_condemned_or_closed_up_on_one_reading_beside_the_trigger(value):
    ruling = rules(value)
    assert ruling.word == MEASURE and "by another hand or method" in ruling.why
    assert rules(value, again=True).word == (REPLACE if value > 287 else CLOSE_UP)


def test_bounds_say_only_what_they_hold():
    def of(low, high):
        return by_trigger(opening_of(judged(column()), DAY), Clearance(None, 4.0, low, high))(False).word

    assert [of(290.0, None), of(None, 280.0), of(200.0, None)] == [REPLACE, CLOSE_UP, MEASURE]


def test_where_replacement_is_expected_whatever_is_read_one_reading_is_not_enough():
    opening = opening_of(judged(column(None, None, trigger_is="always", scrape_is="always")), DAY)
    assert [rules(150.0, opening=opening, again=again).word for again in (False, True)] == [MEASURE, REPLACE]


def test_new_metal_and_what_was_not_measured():
    assert rules(300.0, new_metal=True).word == CLOSE_UP
    assert rules(None).word == CLOSE_UP and "no clearance was measured" in rules(None).why
    likely = opening_of(judged(column(new=0.8)), DAY)
    assert rules(None, opening=likely).word == MEASURE


@pytest.mark.parametrize(
    ("why", "word"),
    [(Why.MISFIT, ENGINEER), (Why.NO_LIFE, ENGINEER), (Why.YOUNG, CLOSE_UP), (Why.NO_MAXIMUM, CLOSE_UP)],
)
def test_where_nothing_can_be_said_that_is_what_is_said(why, word):
    opening = opening_of(judged(column(None, None, trigger_is="", scrape_is=""), why=why), DAY)
    assert rules(200.0, opening=opening).word == word
    assert opening.words("mm") == rules(200.0, opening=opening).why


def test_the_plants_own_replace_limit_is_the_trigger_of_a_fleet_too_young_for_another():
    opening = opening_of(judged(why=Why.YOUNG), DAY, replace_um=212.0)
    assert [rules(v, opening=opening, again=True).word for v in (200.0, 215.0)] == [CLOSE_UP, REPLACE]
    assert opening.words("mm") == "Replace if found at 0.212 mm or more, the plant's own limit."


def test_an_opening_is_that_of_the_outage_named_else_of_the_one_that_runs_else_of_the_day_itself():
    later = column(
        240.0, name="autumn 2027", outage="2", start_on=dt.date(2027, 9, 1), end_on=dt.date(2027, 9, 9)
    )
    made = judged(column(), later, opened_today=column(300.0))
    assert opening_of(made, DAY).at.trigger_um == 287.0 and opening_of(made, DAY).next_on == later.start_on
    outside = opening_of(made, dt.date(2026, 7, 1))
    assert outside.at.trigger_um == 300.0 and outside.next_on == later.start_on
    assert opening_of(made, DAY, outage="2").at.trigger_um == 240.0
    assert Judgement.from_json(made.to_json()) == made


def printed(trigger, on=dt.date(2026, 3, 3), outage="1", **more):
    said = {"trigger_is": "reading", "trigger_um": trigger} | more
    return AcceptedTrigger(uuid.uuid4(), on, None, outage, "in summer 2026", "open", **said)


def test_the_accepted_plans_trigger_governs_unless_what_was_learned_since_is_stricter():
    live = opening_of(judged(column(287.0)), DAY)
    lower = under_plan(live, printed(270.0))
    assert [rules(v, opening=lower, again=True).word for v in (265.0, 275.0, 290.0)] == [
        CLOSE_UP,
        REPLACE,
        REPLACE,
    ]
    assert "0.270 mm or more" in lower.words("mm") and lower.words("mm").endswith("since says 0.287 mm.")
    higher = under_plan(live, printed(300.0))
    assert [rules(v, opening=higher, again=True).word for v in (280.0, 292.0, 301.0)] == [
        CLOSE_UP,
        ENGINEER,
        REPLACE,
    ]
    assert "hold, and call the engineer" in rules(292.0, opening=higher, again=True).why
    never = under_plan(live, printed(None, trigger_is="never"))
    assert rules(292.0, opening=never, again=True).word == ENGINEER
    assert under_plan(live, printed(287.0)).words("mm") == live.words("mm")
    for other in (printed(270.0, outage="2"), printed(None, trigger_is=""), None):
        assert under_plan(live, other) is live


# List, page and pump


def worn(place, position="DE", rises=(0, 20, 41, 60), **facts):
    """A bearing measured four times, from 150 um on."""
    bearing = makers.a_bearing(place=place, position=position, **facts)
    for year, rise in zip((2014, 2017, 2020, 2023), rises, strict=True):
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=f"0.{150 + rise}")
    return bearing


def test_the_pump_reads_the_trigger_that_the_accepted_plan_printed(site):
    bearing = worn(makers.a_place(site=site, tag="P-PLAN", positions=("DE",)), rises=(0, 31, 63, 95))
    today = today_of(bearing)
    outage = makers.an_outage(site=site, start_on=today - dt.timedelta(days=1), days=14, name="running")
    job = {"bearing": str(bearing.pk), "outage": str(outage.pk), "action": "open", "when": "in running"}
    jobs = [job | {"trigger_is": "reading", "trigger_um": "243", "scrape_from_um": "", "p_trigger": "0.3"}]
    plan = Plan(site=site, as_of=today, accepted_on=today, reason="agreed", jobs=jobs, inputs={})
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert "0.243 mm or more" not in said(client.get(at(bearing, "visit/")))
    write([Fact(f"site:{site.pk}", "plan", plan)], by=makers.somebody())
    page = said(client.get(at(bearing, "visit/")))
    assert "Replace if found at 0.243 mm or more" in page and "So printed by the plan of" in page
    pack = {one["pump"]: one["opening"] for one in client.get("/record/pack/").json()["bearings"]}
    assert pack["P-PLAN"].replace("\u00a0", " ") in page


@pytest.fixture
def site(db):
    """Three even wearers, so that the fleet is not too young, and an outage that runs."""
    found = makers.a_site(name="Whole")
    for rises in ((0, 20, 41, 60), (0, 18, 35, 55), (0, 22, 45, 66)):
        worn(makers.a_place(site=found, positions=("DE",)), rises=rises)
    return found


def test_list_page_and_pump_say_one_thing_of_bearings_of_each_kind(site):
    def place(tag):
        return makers.a_place(site=site, tag=tag, positions=("DE",))

    open_one = worn(place("P-OPEN"), rises=(0, 31, 63, 95))
    no_maximum = worn(place("P-NONE"), limits={"fitting_min": 140, "fitting_max": 170})
    no_life = worn(place("P-LIFE"), limits={"fitting_min": 140, "fitting_max": 170, "in_service_max": 110})
    today = today_of(open_one)
    makers.an_outage(site=site, start_on=today - dt.timedelta(days=1), days=14, name="running")
    trigger = judgements([open_one], today)[open_one.pk].at.trigger_um
    client = a_mechanic(open_one)
    words = said(client.get("/")), said(client.get(f"/bearings/P-OPEN/{open_one.name}/"))
    assert all(f"eplace from {trigger:.0f} µm" in page for page in words)
    assert "A limit or a bore is wrong" in words[0] and "limit already passed" not in words[0]
    begin(client, open_one)
    pump = said(client.get(at(open_one, "visit/")))
    (at_pump,) = re.findall(r"Replace if found at (0\.\d+) mm or more", pump)
    assert float(at_pump) * 1000 == pytest.approx(trigger, abs=1.0)
    packed = {one["pump"]: one for one in client.get("/record/pack/").json()["bearings"]}
    assert f"Replace if found at {at_pump} mm or more" in packed["P-OPEN"]["opening"]
    at_open = judgements([open_one], today)[open_one.pk].at
    assert packed["P-OPEN"]["scrape_limit_um"] == (0.0 if at_open.no_room else at_open.scrape_from_um)
    assert packed["P-OPEN"]["measure_first"] == (not at_open.no_room and (at_open.new or 0.0) > 0.5)
    # Without a maximum nothing is held against a scrape; without a life the engineer decides of any.
    assert [packed[tag]["scrape_limit_um"] for tag in ("P-NONE", "P-LIFE")] == [None, 0.0]
    assert {tag for tag, one in packed.items() if one["wrong_limit"]} == {"P-LIFE"}
    read(client, open_one, f"0.{trigger + 8:.0f}", sure="yes")
    page = said(client.get(at(open_one, "close/")))
    why = f"at or over its trigger of {at_pump} mm"
    assert "Advice: measure again" in page and why in page
    page = said(client.get(at(open_one, "visit/")))
    assert "Measure again. Found" in page and why in page
    for bearing, advice in ((no_maximum, "close up"), (no_life, "ask the engineer")):
        begin(client, bearing)
        read(client, bearing, "0.228", sure="yes")
        listed = said(client.get(f"/bearings/{bearing.place.tag}/DE/"))
        assert "Set a limit" in listed and "Has passed" not in listed
        assert ("No date: its maximum of 110 µm does not lie above" in listed) == (bearing is no_life)
        page = said(client.get(at(bearing, "close/")))
        assert ("No trigger: neither a maximum nor a replace limit" in page) == (bearing is no_maximum)
        assert f"Advice: {advice}" in page or "Advice: measure again" in page
        visit = said(client.get(at(bearing, "visit/")))
        assert packed[bearing.place.tag]["opening"] in visit
        assert ("Ask the engineer." in visit) == (f"Advice: {advice}" in page and bearing is no_life)
    # Measured again and still over a maximum that cannot be right: no shell is condemned by that.
    (first,) = Reading.objects.filter(bearing=no_life, value_um=228)
    read(client, no_life, "0.229", where=f"{first.end}-{first.clock}", query={"again": first.pk}, sure="yes")
    page = said(client.get(at(no_life, "close/")))
    assert "Advice: ask the engineer" in page and "one of the two, or the bore, is wrong. No shell" in page
    assert "Advice: replace" not in page and "a new shell, or hold" not in page
    (row,) = standing_rows(
        Situation(held=[NotInside("a", "over", "x", "Over.", again=True)], wrong_limit="W.")
    )
    assert (row.word, row.key) == ("ask the engineer", "rule W.")  # as the rule's own: answered with it


def test_a_contact_finding_that_waits_asks_for_its_print_before_the_pump_is_closed(site):
    bearing = worn(makers.a_place(site=site, tag="P-MARK", positions=("DE",)))
    makers.an_event(bearing=bearing, kind="contact_check", on=dt.date(2025, 5, 5), outcome="scrape")
    client = a_mechanic(bearing)
    begin(client, bearing)
    waits = "A contact finding of an earlier visit waits: take the print"
    assert waits in said(client.get(at(bearing, "visit/")))
    for _ in range(2):
        read(client, bearing, "0.218", sure="yes")
    page = said(client.get(at(bearing, "close/")))
    assert "Advice: repeat the print" in page and waits in page
    assert "Repeat the print" in said(client.get(at(bearing, "visit/")))
    client.post(at(bearing, "contact/"), {"drawn": "full_length", "in_place": "yes"})
    assert waits not in said(client.get(at(bearing, "visit/")))


def test_a_trigger_in_a_coarse_unit_is_never_shown_as_a_reading_that_does_not_meet_it():
    opening = opening_of(judged(column(278.0, 257.0)), DAY)
    assert opening.words("in").startswith("Replace if found at 0.0110 in or more")
    below = by_trigger(opening, Clearance(0.0109 * 25400, 1.0, unit="in", again=True))(False)
    assert below.word == CLOSE_UP and below.why == "Found 0.0109 in: below its trigger of 0.0110 in."
    reached = by_trigger(opening, Clearance(0.0110 * 25400, 1.0, unit="in", again=True))(False)
    assert reached.word == REPLACE


def test_what_is_read_in_the_visit_does_not_move_the_trigger_it_is_held_against(site):
    bearing = worn(makers.a_place(site=site, tag="P-HELD", positions=("DE",)))
    client = a_mechanic(bearing)
    begin(client, bearing)
    first = said(client.get(at(bearing, "visit/")))
    read(client, bearing, "0.240", sure="yes")
    second = said(client.get(at(bearing, "visit/")))
    pattern = r"(?:Replacement expected\. )?Replace if found at [^;.]*\.\d+ mm"
    assert re.findall(pattern, first) == re.findall(pattern, second) != []


def test_a_visit_closed_on_its_first_day_was_not_closed_before_it(site):
    outage = makers.an_outage(site=site, start_on=DAY - dt.timedelta(days=3), days=14, name="running")
    bearing = worn(makers.a_place(site=site, tag="P-SHUT", positions=("DE",)))
    visit = open_visit(place=bearing.place, on=DAY, by=makers.somebody())
    first = expectations.before(bearing, DAY).judgement
    close_visit(visit=visit, on=DAY, by=makers.somebody())
    expectations._BEFORE.clear()  # as in another process
    assert expectations.before(bearing, DAY).judgement == first
    assert first.column_of(outage.pk) is not None
    after = expectations.before(bearing, DAY + dt.timedelta(days=1)).judgement
    assert after.column_of(outage.pk) is None


def test_a_limit_put_right_while_the_pump_is_open_is_what_the_next_page_holds(site):
    wrong = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 110}
    bearing = worn(makers.a_place(site=site, tag="P-RIGHT", positions=("DE",)), limits=wrong)
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.215", sure="yes")
    assert "one of the two, or the bore, is wrong" in said(client.get(at(bearing, "visit/")))
    right = {"in_service_max": Decimal(240)}
    set_limits([bearing], right, authority="plant", reason="of another pump", by=makers.somebody())
    page = said(client.get(at(bearing, "visit/")))
    assert "the bore, is wrong" not in page and re.search(r"Replace if found at 0\.2\d+ mm or more", page)
    assert "Ask the engineer." not in page
    earlier = Reading.objects.standing().filter(bearing=bearing, on__year=2023).get()
    pattern = r"Replace if found at 0\.2\d+ mm or more"
    correct_reading(reading=earlier, value="0.190", reason="misread", by=makers.somebody())
    assert re.findall(pattern, said(client.get(at(bearing, "visit/")))) != re.findall(pattern, page)
