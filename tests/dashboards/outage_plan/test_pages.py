"""The plan's pages, driven as a browser would: look, change, compare, accept, put off, print, take along."""

import csv
import datetime as dt
import io
import re
from decimal import Decimal

import openpyxl
import pytest
from icalendar import Calendar

from dashboards.outage_plan.deferrals import answer, defer
from dashboards.outage_plan.drafts import in_hand, keep_version, kept_versions
from dashboards.outage_plan.plan_sheet import COLUMNS
from dashboards.outage_plan.versions import HAND, propose, shown
from dashboards.outage_plan.versions import version as version_of
from fleet import background_jobs
from fleet.clock import today_in
from fleet.formatting import day
from fleet.models import Job, Spare
from fleet.plant.acts import record
from fleet.plant.limits import set_limits
from inspections.models import Plan
from inspections.records.recording import close_visit, open_visit
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, bearing_of, run_on

pytestmark = pytest.mark.django_db
TODAY = today_in("UTC")


@pytest.fixture
def unplanned():
    return a_fleet(TODAY, name="South")


@pytest.fixture
def planner(client, site):
    client.force_login(makers.an_account(role="planner", site=site))
    return client


def _read(client, address, **asked):
    answer = client.get(address, asked)
    assert answer.status_code == 200, (address, answer.status_code)
    return answer.content.decode()


def _post(client, address, site, **said):
    hand = in_hand(site)
    given = {"site": site.name, "draft": str(hand.pk) if hand else ""} | said
    return client.post(address, given, follow=True).content.decode()


def test_without_a_plan_the_planner_is_offered_one_and_the_worker_makes_it(client, unplanned):
    client.force_login(makers.an_account(role="reader", site=unplanned))
    assert "Work out a plan" not in _read(client, "/plan/")
    client.force_login(makers.an_account(role="planner", site=unplanned))
    assert "Work out a plan" in _read(client, "/plan/")
    page = _post(client, "/plan/anew/", unplanned)
    assert "Waiting" in page and in_hand(unplanned) is None
    done = background_jobs.do_next()
    assert (
        done.state == Job.State.DONE
        and "jobs are proposed" in done.said
        and done.address == "/plan/?site=South"
    )
    assert "open" in _read(client, done.address)


def test_the_job_tells_which_step_begins_and_its_page_moves(client, unplanned, monkeypatch):
    client.force_login(makers.an_account(role="planner", site=unplanned))
    _post(client, "/plan/anew/", unplanned)
    job, pages = Job.objects.get(), []
    real = background_jobs._tell

    def tell(row, n, of, words=""):
        real(row, n, of, words)
        pages.append(_read(client, f"/jobs/{job.pk}/").replace("\u00a0", " "))

    monkeypatch.setattr(background_jobs, "_tell", tell)
    background_jobs.do_next()
    assert "Forecasts, outages, spares and hours are gathered. 0 of 4 done" in pages[0]
    assert "What 5 bearings rest on is gathered. 1 of 4 done" in pages[1]
    assert "5 pumps and 3 times to open them are laid out. 2 of 4 done" in pages[2]
    assert "The plan is weighed and kept. 3 of 4 done" in pages[-1]


def test_looking_at_a_plan_solves_nothing(planner, site, monkeypatch):
    def never(*args, **more):
        raise AssertionError("solved while looking")

    monkeypatch.setattr("dashboards.outage_plan.proposal.proposed", never)
    hand = in_hand(site)
    for address in (
        "/plan/",
        "/plan/?show=proposed",
        "/plan/bearing/?bearing=Past 5 DE",
        "/plan/outage/?outage=outage 1",
        "/plan/compare/",
    ):
        _read(planner, address)
    _post(planner, "/plan/change/", site, what="skip", outage="outage 1", back="plan")
    assert in_hand(site).pk == hand.pk


def test_a_change_says_at_once_what_it_does_to_risk_hours_and_shells(planner, site):
    page = _post(
        planner, "/plan/change/", site, what="move", bearing="Past 5 DE", job="open|outage 2", hold="on"
    )
    assert "Your changes, and what they do" in page
    assert "Past 5 DE: open in outage 2, and stays so when it is planned anew" in page
    assert "outage 1: 0 of 100 crew hours" in page.replace("\u00a0", " ") or "fewer" in page
    assert "outage 2:" in page and "expected to pass their maximum" in page
    page = _post(planner, "/plan/change/", site, what="take-back", number="0")
    assert "Your changes" not in page


def test_an_unreadable_change_is_told_in_words_and_changes_nothing(planner, site):
    page = _post(
        planner,
        "/plan/change/",
        site,
        what="worse",
        bearing="Past 5 DE",
        value="thick",
        unit="mm",
        back="plan-bearing",
    )
    assert "thick" in page and "note-limit" in page and "Past 5 DE in the plan" in page
    page = _post(
        planner, "/plan/change/", site, what="slip", outage="outage 1", days="soon", back="plan-outage"
    )
    assert "&#x27;soon&#x27; is no number of days" in page and "Outage 1 in the plan" in page
    assert in_hand(site).changes == []


def test_found_worse_moves_the_bearings_chances(planner, site):
    before = _read(planner, "/plan/bearing/", bearing="Slow 1 DE")
    after = _post(
        planner,
        "/plan/change/",
        site,
        what="worse",
        bearing="Slow 1 DE",
        value="0.31",
        unit="mm",
        back="plan-bearing",
    )
    assert "Left closed, under 1 in 100" in before.replace("\u00a0", " ")
    assert "Left closed, more than 9 in 10" in after.replace("\u00a0", " ") and "as if it read 310" in after


def test_an_accepted_plan_shows_who_when_why_and_what_differs_since(planner, site):
    run_on(TODAY, bearing_of(site, "Past 5"))
    page = _post(planner, "/plan/accept/", site, reason="two shells are here")
    assert (
        "Accepted, with" in page and "“two shells are here”" in page and "This is the accepted plan" in page
    )
    assert Plan.objects.get().accepted_on == TODAY
    page = _post(planner, "/plan/change/", site, what="move", bearing="Past 5 DE", job="leave|")
    assert "the plan shown here does otherwise" in page
    compared = _read(planner, "/plan/compare/", first="accepted", second="in-hand")
    assert "Past 5 DE" in compared and "left closed" in compared and "open in outage 1" in compared


def test_a_pump_that_stands_open_is_said_to_be_open_and_nobody_is_asked_whether_to_open_it(planner, site):
    bearing, by = bearing_of(site, "Past 5"), makers.somebody()
    addresses = "/", "/bearings/Past%205/DE/", f"/plan/?site={site.name}", f"/decide/{bearing.pk}/"

    def told():
        pages = [_read(planner, address).replace("\u00a0", " ") for address in addresses]
        assert ["Open since" in page for page in pages] == ["Decide now" not in page for page in pages]
        assert ("Run on with checks" in pages[3]) == ("Decide now" in pages[3])
        return {
            f"Open since {day(TODAY)}: measuring goes on".replace("\u00a0", " ") in page for page in pages
        }

    assert told() == {False}
    visit = open_visit(place=bearing.place, on=TODAY, by=by)
    assert told() == {True}
    makers.a_reading(bearing=bearing, on=TODAY, value=310, unit="um", visit=visit)
    propose(site, TODAY, by=None)
    assert told() == {True}
    (listed,) = re.findall(r"Open since[^<]*", _read(planner, "/").replace("\u00a0", " "))
    assert listed in _read(planner, addresses[2]).replace("\u00a0", " ") and "measured 310 µm" in listed
    close_visit(visit=visit, on=TODAY, by=by)
    assert told() == {False}


def test_with_one_plan_the_compare_page_says_how_to_have_two(planner, site):
    assert "There is only one plan so far" in _read(planner, "/plan/compare/")
    assert 'id="keep"' in _read(planner, "/plan/")
    _post(planner, "/plan/change/", site, what="keep-version", name="before the strike")
    assert "There is only one plan so far" not in _read(planner, "/plan/compare/")


def test_two_kept_versions_can_be_compared_and_an_unknown_one_is_not_there(planner, site):
    page = _post(planner, "/plan/change/", site, what="keep-version", name="before the strike")
    assert "Kept as “before the strike”" in page
    _post(planner, "/plan/change/", site, what="skip", outage="outage 1")
    _post(planner, "/plan/change/", site, what="keep-version", name="without the first")
    one, other = [str(row.pk) for row in kept_versions(site)]
    page = _read(planner, "/plan/compare/", first=other, second=one)
    assert "“before the strike”" in page and "“without the first”" in page and "What they break" in page
    assert planner.get("/plan/compare/", {"first": "never"}).status_code == 404
    assert planner.get("/plan/", {"show": "7"}).status_code == 404


def test_a_version_of_another_site_is_not_shown(planner, site):
    south = a_fleet(TODAY, name="South")
    draft = propose(south, TODAY, by=None)
    version = keep_version(draft=draft, name="theirs", by=makers.somebody())
    assert planner.get("/plan/", {"show": str(version.pk)}).status_code == 404
    assert planner.get("/plan/", {"site": "South"}).status_code == 404
    for address in ("change", "anew", "accept", "put-off"):
        assert planner.post(f"/plan/{address}/", {"site": "South", "draft": str(draft.pk)}).status_code == 404


@pytest.mark.parametrize("role", ["reader", "auditor", "mechanic", "foreman"])
def test_who_may_not_plan_sees_the_plan_and_no_form_and_is_refused(client, planner, site, role):
    client.force_login(makers.an_account(role=role, site=site))
    page = _read(client, "/plan/")
    assert "Past 5" in page and 'action="/plan/' not in page
    assert 'action="/plan/' not in _read(client, "/plan/bearing/", bearing="Past 5 DE")
    hand = in_hand(site)
    for address in ("change", "anew", "accept", "put-off"):
        assert client.post(f"/plan/{address}/", {"site": site.name, "draft": str(hand.pk)}).status_code == 403


def test_of_a_maximum_that_cannot_be_right_the_plan_tells_no_chance(client):
    wrong = a_fleet(TODAY, name="Wrong bores")
    place = makers.a_place(site=wrong, tag="Wrong 6", positions=("DE", "NDE"))
    for position, maximum in (("DE", 120), ("NDE", 300)):
        limits = {"fitting_min": 130, "fitting_max": 150, "in_service_max": maximum}
        bearing = makers.a_bearing(place=place, position=position, shell_type="S-1", limits=limits)
        for years in (13, 9, 5, 1):
            on = TODAY - dt.timedelta(days=365 * years)
            makers.a_reading(bearing=bearing, on=on, value=250 - 8 * years, unit="um")
    propose(wrong, TODAY, by=None)
    client.force_login(makers.an_account(role="planner", site=wrong))
    page = _read(client, "/plan/bearing/", site="Wrong bores", bearing="Wrong 6 DE")
    text = " ".join(re.sub(r"<[^>]+>", " ", page).split()).split("Not to be opened")[0]
    assert "cannot say" in text and "would have passed" not in text and "accepted risk" not in text
    assert not re.search(r"\d in 10", text)
    assert "a limit is missing or cannot be right" in " ".join(_read(client, "/plan/").split())


def test_a_bearing_without_a_limit_alone_on_its_pump_has_a_page_in_the_plan_that_asks_for_one(planner, site):
    place = makers.a_place(site=site, tag="Makeup A/B", positions=("DE",))
    bearing = makers.a_bearing(place=place, limits={})
    makers.a_reading(bearing=bearing, on=TODAY - dt.timedelta(days=400), value=190, unit="um")
    propose(site, TODAY, by=None)
    page = _read(planner, "/plan/bearing/", site=site.name, bearing="Makeup A/B DE")
    assert "Set a limit" in page and 'href="/bearings/Makeup%20A~B/DE/limits/' in page
    assert planner.get("/plan/bearing/", {"bearing": "Makeup A/B NDE"}).status_code == 404


def test_the_sheets_and_the_work_list_say_what_the_page_says(planner, site):
    book = openpyxl.load_workbook(io.BytesIO(planner.get("/plan/outage-plan.xlsx").content))
    rows = list(book.active.values)
    text = planner.get("/plan/outage-plan.csv").content.decode("utf-8-sig")
    lines = list(csv.reader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS == tuple(lines[0])
    assert [[str(cell or "") for cell in row[:5]] for row in rows[1:]] == [line[:5] for line in lines[1:]]
    work = _read(planner, "/plan/work/", outage="outage 1")
    assert "Past 5" in work and "authorises no work" in work and "not accepted" in work
    assert planner.get("/plan/work/", {"outage": "never"}).status_code == 404
    run_on(TODAY, bearing_of(site, "Past 5"))
    _post(planner, "/plan/accept/", site, reason="so be it")
    for version in ({}, {"show": "accepted"}):
        assert "From the accepted plan" in _read(planner, "/plan/work/", outage="outage 1", **version)
    assert "not accepted" in _read(planner, "/plan/work/", outage="outage 1", show="in-hand")


def test_the_work_list_speaks_of_a_bearing_in_the_unit_of_its_machines_book(planner, site):
    limits, book = {"in_service_max": Decimal("304.8")}, {"authority": "maker_machine", "typed": "12"}
    set_limits([bearing_of(site, "Past 5")], limits, unit="thou", by=makers.somebody(), **book)
    propose(site, TODAY, by=None)
    work = _read(planner, "/plan/work/", outage="outage 1").replace("\u00a0", " ")
    (words,) = re.findall(r"Past 5 <span.*?<dl", work, re.DOTALL)
    assert " thou" in words and "µm" not in words


def test_who_refused_a_bearing_above_the_risk_and_why_stands_on_page_sheet_and_work_list(planner, site):
    _post(planner, "/plan/change/", site, what="refuse", bearing="Past 5 DE", why="no crane in spring")
    for address in ("/plan/", "/plan/bearing/?bearing=Past 5 DE"):
        page = _read(planner, address)
        assert "no crane in spring" in page and "What would make it fit" in page
    lines = list(
        csv.DictReader(io.StringIO(planner.get("/plan/outage-plan.csv").content.decode("utf-8-sig")))
    )
    (mine,) = [line for line in lines if line["pump"] == "Past 5"]
    assert mine["action"] == "leave" and mine["outage"] == "" and mine["would_fit_with"]
    assert "opening it is refused in outage 1" in mine["above_risk_because"]
    assert mine["above_risk_because"].endswith("“no crane in spring”)")
    page = _post(planner, "/plan/accept/", site, reason="all agreed")
    assert "Past 5 DE stays above its accepted risk: ask to put it off" in page and not Plan.objects.exists()
    assert "nobody was asked yet" in page
    page = _post(planner, "/plan/run-on/", site, reason="no crane")
    assert "Not asked." in page and "Name the person" in page
    said = {"reason": "no crane before spring", "check_by": "N. Turner", "check_every_days": 7}
    said |= {"stop_at": "bearing metal 95 °C", "late_why": "the pump has no twin this winter"}
    until = (TODAY + dt.timedelta(days=200)).isoformat()
    page = _post(planner, "/plan/run-on/", site, until_on=until, **said)
    assert "waits for the engineer and operations" in page and "nobody was asked yet" not in page


def test_the_calendar_file_reads_back_as_the_plan_with_whole_days(planner, site):
    bearing, until = bearing_of(site, "Past 5"), TODAY + dt.timedelta(days=90)
    outage = site.outages.get(name="outage 1")
    asked = defer(
        bearing=bearing,
        outage=outage,
        on=TODAY,
        reason="no crane; no shell, yet",
        until_on=until,
        late_why="the crane comes in spring",
        check_by="T. Ester",
        check_every_days=7,
        stop_at="oil, 40 ppm of tin",
        by=makers.somebody(),
    )
    for side, role in (("engineer", "engineer"), ("operations", "operations")):
        who = makers.an_account(role=role, site=site).person_id
        answer(thing=asked.id, side=side, agreed=True, on=TODAY, by=who)
    made = planner.get("/plan/outage-plan.ics")
    assert made["Content-Type"].startswith("text/calendar")
    raw = made.content
    # RFC 5545, 3.1: lines of at most 75 octets, ended by CR LF.
    assert raw.endswith(b"\r\n") and all(len(line) <= 75 for line in raw.split(b"\r\n"))
    book = Calendar.from_ical(raw)
    assert book["version"] == "2.0" and book["prodid"] and book.to_ical() == raw
    events = {str(event["summary"]): event for event in book.walk("VEVENT")}
    for row in site.outages.all():
        (event,) = [one for title, one in events.items() if title.startswith(f"{row.name}: ")]
        assert event.decoded("dtstart") == row.start_on
        assert event.decoded("dtend") == row.end_on + dt.timedelta(days=1)
        assert events[f"Scope freezes: {row.name}"].decoded("dtstart") == row.scope_freeze_on
    ends = events["Deferral expires: Past 5 DE"]
    assert ends.decoded("dtstart") == until and "Meanwhile: T. Ester every 7 days" in str(ends["description"])
    assert len({str(event["uid"]) for event in events.values()}) == len(events)
    assert planner.get("/plan/outage-plan.ics").content == raw


def test_an_outage_that_is_left_out_is_not_in_the_calendar_and_orders_have_their_last_day(client, site):
    other = a_fleet(TODAY, name="South", on_hand=None)
    propose(other, TODAY, by=None)
    client.force_login(makers.an_account(role="planner", site=other))
    _post(client, "/plan/change/", other, what="skip", outage="outage 3")
    book = Calendar.from_ical(client.get("/plan/outage-plan.ics").content)
    titles = [str(event["summary"]) for event in book.walk("VEVENT")]
    gone = [event for event in book.walk("VEVENT") if "outage 3" in str(event["summary"])]
    assert {str(event["status"]) for event in gone} == {"CANCELLED"} and len(gone) == 2
    assert [one for one in titles if one.startswith("Last day to order: S-1")]


def test_a_shell_that_comes_back_relined_is_an_input_on_the_page(client):
    site = a_fleet(TODAY, name="West", on_hand=None)
    halves = (("lower", 1, 90), ("upper", 5, None))
    record(
        [
            Spare(
                site=site, shell_type="S-1", half=h, on_hand=n, relined_after_days=days, lead_time_days=4000
            )
            for h, n, days in halves
        ],
        by=makers.somebody(),
    )
    propose(site, TODAY, by=None)
    client.force_login(makers.an_account(role="planner", site=site))
    page = _read(client, "/plan/").replace("\u00a0", " ")
    assert "S-1 lower: back 90 days after it comes out" in page and "S-1 upper: back" not in page
    assert "1 half taken out in outage 1: back relined by" in page and "in time for outage 2" in page
    assert ">relined</span>" in page


def test_what_follows_an_opening_is_told_on_its_own_page_and_on_that_of_the_outage(planner, site):
    hand = in_hand(site)
    made = shown(hand, version_of(hand, HAND))
    followed = next(one for load in made.evaluation.loads for one in load.likely_again)
    page = _read(planner, "/plan/bearing/", bearing=f"{followed.pump} DE")
    assert f"{followed.pump} is likely to be opened once more" in page and f"in {followed.at}" in page
    page = _read(planner, "/plan/outage/", outage=followed.at)
    assert "Openings that follow from earlier ones" in page
    assert f"{followed.pump}, opened in {followed.first}" in page
