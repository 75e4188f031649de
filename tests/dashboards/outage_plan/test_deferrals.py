"""Work put off by levels: who must agree, what holds, what comes back by itself; run on or open for what is
past its maximum.
"""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from dashboards.outage_plan import versions
from dashboards.outage_plan.deferrals import answer, defer, deferrals, waiting
from dashboards.outage_plan.drafts import in_hand
from dashboards.outage_plan.versions import propose
from fleet.clock import today_in
from fleet.formatting import day
from fleet.ledger.verify import verify
from fleet.ledger.writing import Fact, write
from fleet.models import Entry, Person
from fleet.plant.acts import Refused
from inspections.deferrals import acts
from inspections.models import Agreement, Decision, Deferral, OutsideOpening
from inspections.story.audit_trail import ledger_story
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import bearing_of

pytestmark = pytest.mark.django_db
TODAY = today_in("UTC")
SAID = {
    "reason": "no crane before spring",
    "late_why": "the pump has no twin and the winter needs it",
    "check_by": "N. Turner",
    "check_every_days": 7,
    "stop_at": "bearing metal 95 °C",
}


@pytest.fixture
def who(site):
    return {
        role: makers.an_account(role=role, site=site)
        for role in ("planner", "engineer", "operations", "foreman")
    }


def _ask(bearing, by, days=200, **said):
    outage = next(o for o in bearing.place.site.outages.all() if o.name == "outage 1")
    until = TODAY + dt.timedelta(days=days)
    return defer(
        bearing=bearing, outage=outage, on=TODAY, by=by.person_id, **{**SAID, "until_on": until, **said}
    )


def _answer(asked, account, side, agreed=True, reason=""):
    return answer(thing=asked.id, side=side, agreed=agreed, on=TODAY, by=account.person_id, reason=reason)


def _jobs(site):
    hand = in_hand(site)
    made = versions.shown(hand, versions.version(hand, versions.HAND))
    return {job.bearing: job.outage for job in made.evaluation.jobs}


def _later(monkeypatch, day):
    for name in ("versions", "following", "page"):
        monkeypatch.setattr(f"dashboards.outage_plan.{name}.today_at", lambda site: day)


def _post_off(client, site, bearing, **said):
    given = {
        "site": site.name,
        "id": str(bearing.pk),
        "outage": "outage 1",
        "owner_role": "planner",
        "extra_checks": "none",
    } | SAID
    return client.post("/plan/put-off/", given | said, follow=True).content.decode()


def test_a_planner_alone_cannot_put_off_to_2040_what_is_past_its_maximum(client, site, draft, who):
    client.force_login(who["planner"])
    page = _post_off(client, site, bearing_of(site, "Past 5"), until_on="2040-01-01", reason="x")
    assert "Not put off." in page and "Say in a sentence why it is put off" in page
    page = _post_off(client, site, bearing_of(site, "Past 5"), until_on="2040-01-01")
    assert "past its maximum of 300" in page.replace("\u00a0", " ") and "366 days at most" in page
    assert "Past 5 DE" in _jobs(site)
    assert not (Decision.objects.exists() or Deferral.objects.exists())


def test_past_the_maximum_it_holds_once_engineer_and_operations_have_agreed_each_on_the_next_page(
    client, site, draft, who
):
    past, until = bearing_of(site, "Past 5"), TODAY + dt.timedelta(days=200)
    client.force_login(who["planner"])
    page = _post_off(client, site, past, until_on=until.isoformat())
    assert "waits for the engineer and operations" in page and "Your agreement is wanted" not in page
    assert "Past 5 DE" in _jobs(site) and waiting(site, TODAY)
    asked = Deferral.objects.get()
    assert (asked.level, asked.earlier, float(asked.chance) > 0.5) == ("operations", 0, True)
    for role in ("engineer", "operations"):
        client.force_login(who[role])
        for address in ("/quality/", "/"):
            page = client.get(address).content.decode()
            assert "Your agreement is wanted" in page and "Past 5 DE" in page
        page = client.get("/deferrals/").content.decode()
        assert "N. Turner every" in page and "stop at bearing metal 95 °C" in page
        posted = {"side": role, "answer": "agree"}
        assert client.post(f"/deferrals/{asked.pk}/", posted).status_code == 302
        assert "Your agreement is wanted" not in client.get("/quality/").content.decode()
    assert _jobs(site).get("Past 5 DE") != "outage 1"
    (now,) = deferrals(site, TODAY)
    assert now.state == "in force" and [one.side for one in now.answers] == ["engineer", "operations"]
    page = client.get("/plan/").content.decode()
    assert "N. Turner every" in page and "asked by" in page
    assert verify().faults == [] and Entry.objects.filter(kind="agreement").count() == 2


def test_a_refusal_needs_a_reason_and_leaves_the_job_in_the_plan(site, draft, who):
    asked = _ask(bearing_of(site, "Past 5"), who["planner"])
    with pytest.raises(Refused, match="refusal needs a reason"):
        _answer(asked, who["operations"], "operations", agreed=False)
    refused = _answer(asked, who["operations"], "operations", agreed=False, reason="open it in January")
    assert refused.state == "refused" and refused.answers[0].words.endswith("“open it in January”")
    with pytest.raises(Refused, match="nobody any more"):
        _answer(asked, who["engineer"], "engineer")
    assert "Past 5 DE" in _jobs(site) and not deferrals(site, TODAY)
    told = [line.what for line in ledger_story(asked.bearing).lines]
    assert [words for words in told if words.startswith("Refused for operations: open it in January")]


def test_an_engineer_who_asks_has_agreed_and_nobody_answers_for_two_sides(site, draft, who):
    both = makers.an_account(role="engineer", site=site)
    makers.give_role(person=both.person, role="operations", site=site, by=makers.somebody())
    asked = _ask(bearing_of(site, "Past 5"), both)
    assert asked.missing == ("operations",)
    with pytest.raises(Refused, match="put this forward"):
        _answer(asked, both, "operations")
    with pytest.raises(Refused, match="one of these roles"):
        _answer(asked, who["planner"], "operations")
    assert _answer(asked, who["operations"], "operations").state == "in force"


def test_within_the_accepted_risk_the_planner_alone_and_the_second_time_one_level_higher(site, draft, who):
    slow = bearing_of(site, "Slow 1")
    first = _ask(slow, who["planner"], days=150)
    assert (first.level, first.state) == ("planner", "in force")
    second = _ask(slow, who["planner"], days=150)
    assert (second.level, second.state) == ("engineer", "waiting")
    assert "put off 1 time before" in second.row.why_level.replace("\u00a0", " ")
    with pytest.raises(Refused, match="waits for an answer already"):
        _ask(slow, who["planner"], days=150)
    _answer(second, who["engineer"], "engineer")
    (now,) = deferrals(site, TODAY)
    assert (now.n_times, now.first_on) == (2, TODAY)
    makers.an_event(kind="shell_change", bearing=slow, on=TODAY)
    assert deferrals(site, TODAY) == []


WRONG = (
    ({"reason": "x"}, "why it is put off"),
    ({"reason": "x" * 501}, "Reason: at most 500 characters"),
    ({"check_by": " "}, "Name the person"),
    ({"check_every_days": 0}, "every how many days"),
    ({"check_every_days": 300}, "first interim check would fall after"),
    ({"stop_at": "when it is hot"}, "at what value it is stopped"),
    ({"until_on": TODAY}, "it lies ahead"),
    ({"until_on": None}, "it lies ahead"),
    ({"late_why": ""}, "say in a sentence why not"),
    ({"until_on": TODAY + dt.timedelta(days=367)}, "366 days at most"),
)


def test_a_deferral_lacks_nothing_and_is_bounded(site, who):
    past = bearing_of(site, "Past 5")
    for said, words in WRONG:
        with pytest.raises(Refused, match=words):
            _ask(past, who["planner"], **said)
    assert not Deferral.objects.exists() and not Agreement.objects.exists()


def test_what_has_run_out_is_planned_again_by_itself_and_what_nobody_agreed_to_lapses(
    site, draft, who, monkeypatch
):
    asked = _ask(bearing_of(site, "Past 5"), who["engineer"], days=300)
    _answer(asked, who["operations"], "operations")
    assert _jobs(site).get("Past 5 DE") != "outage 1"
    unanswered = _ask(bearing_of(site, "Fast 4"), who["planner"], days=300)
    last = TODAY + dt.timedelta(days=300)
    _later(monkeypatch, last)
    assert _jobs(site).get("Past 5 DE") != "outage 1"
    after = last + dt.timedelta(days=1)
    _later(monkeypatch, after)
    assert _jobs(site)["Past 5 DE"] == "outage 1"
    (now,) = deferrals(site, after)
    assert now.is_expired and now.id == asked.id
    assert not waiting(site, after) and unanswered.state == "waiting"
    assert not [one for one in versions.holding(in_hand(site).changes, after) if one.get("deferral")]


def test_planned_anew_a_deferral_in_force_is_kept_to_once(site, draft, who):
    asked = _ask(bearing_of(site, "Past 5"), who["engineer"])
    _answer(asked, who["operations"], "operations")
    again = propose(site, TODAY, by=None)
    kept = [one for one in again.changes if one.get("deferral")]
    assert [(one["bearing"], one["outage"]) for one in kept] == [("Past 5 DE", "outage 1")]
    assert _jobs(site).get("Past 5 DE") != "outage 1"


def test_a_deferral_of_before_agreements_stands_to_its_end(site, draft):
    bearing = bearing_of(site, "Past 5")
    outage = site.outages.get(name="outage 1")
    old = Decision(
        bearing=bearing,
        outage=outage,
        on=TODAY,
        decided="defer",
        why="no crane",
        until_on=TODAY + dt.timedelta(days=90),
        owner_role="planner",
        extra_checks="oil weekly",
    )
    write([Fact(f"bearing:{bearing.pk}", "decision", old)], by=makers.somebody())
    (now,) = deferrals(site, TODAY)
    assert now.state == "in force" and now.checks == "oil weekly; the planner answers for it"
    (later,) = deferrals(site, TODAY + dt.timedelta(days=91))
    assert later.is_expired


def test_past_its_maximum_there_is_a_page_to_run_on_or_to_open_now_with_its_cost(client, site, who):
    past = bearing_of(site, "Past 5")
    address = f"/decide/{past.pk}/"
    client.force_login(who["planner"])
    page = client.get(address).content.decode()
    assert (
        "Run on with checks" in page and "Open now" in page and "what a stop costs here is not stated" in page
    )
    page = client.post(address, {"choice": "run-on", "run-on-reason": "x"}).content.decode()
    assert "Put this right first" in page and "Name the person" in page and not Deferral.objects.exists()
    run_on = {f"run-on-{name}": value for name, value in SAID.items()}
    until = (TODAY + dt.timedelta(days=100)).isoformat()
    page = client.post(address, {"choice": "run-on", "run-on-until_on": until} | run_on, follow=True)
    assert "waits for the engineer and operations" in page.content.decode()
    assert Deferral.objects.get().outage is None
    page = client.get("/").content.decode()
    assert address in page and "waits for the engineer and operations; checks: N. Turner" in page
    day = (TODAY + dt.timedelta(days=30)).isoformat()
    opened = {"choice": "open", "open-opens_on": day, "open-reason": "it stands over its maximum"}
    page = client.post(address, opened, follow=True).content.decode()
    assert "Opening it is asked for, and waits for the engineer and operations" in page
    row = OutsideOpening.objects.get()
    for role in ("engineer", "operations"):
        acts.answer(thing=row.pk, side=role, agreed=True, on=TODAY, by=who[role].person_id)
    assert "<b>in force</b>" in client.get(address).content.decode()
    assert "Opened outside an outage" in client.get("/deferrals/").content.decode()
    assert client.post(address, opened).content.decode().count("agreed already") > 0


def test_an_opening_agreed_outside_an_outage_is_planned_there(client, site, who):
    past, day = bearing_of(site, "Past 5"), TODAY + dt.timedelta(days=30)
    said = {"bearing": past, "on": TODAY, "opens_on": day, "reason": "it stands over its maximum"}
    asked = acts.ask_opening(by=who["engineer"].person_id, **said)
    name = f"outside an outage, Past 5 on {day}"
    propose(site, TODAY, by=None)
    assert name not in _jobs(site).values()
    acts.answer(thing=asked.id, side="operations", agreed=True, on=TODAY, by=who["operations"].person_id)
    propose(site, TODAY, by=None)
    assert _jobs(site)["Past 5 DE"] == name
    client.force_login(who["planner"])
    page = client.get("/plan/").content.decode()
    assert name in page and "agreed outside an outage" in page and "twin running" not in page


def test_who_may_not_ask_or_agree_is_refused_and_what_asks_for_nothing_has_no_form(client, site, draft, who):
    asked = _ask(bearing_of(site, "Past 5"), who["planner"])
    client.force_login(who["foreman"])
    assert client.post(f"/decide/{asked.bearing.pk}/", {"choice": "open"}).status_code == 403
    assert client.post(f"/deferrals/{asked.id}/", {"side": "engineer", "answer": "agree"}).status_code == 403
    client.force_login(who["planner"])
    assert client.post(f"/deferrals/{asked.id}/", {"side": "operations"}).status_code == 403
    page = client.get(f"/decide/{bearing_of(site, 'Slow 1').pk}/").content.decode()
    assert "Nothing asks for a decision" in page and "<h2>Open now" not in page
    client.force_login(makers.an_account(role="engineer", site=makers.a_site()))
    assert client.post(f"/deferrals/{asked.id}/", {"side": "engineer"}).status_code == 404
    assert client.get(f"/decide/{asked.bearing.pk}/").status_code == 404


def test_an_overdue_interim_check_is_told_its_person_on_list_plan_and_next_page_until_recorded(
    client, site, who
):
    asked_on, until_on = TODAY - dt.timedelta(days=8), TODAY + dt.timedelta(days=200)
    facts = SAID | {"check_by": "K. Checker", "until_on": until_on, "on": asked_on}
    asked = acts.ask_deferral(bearing=bearing_of(site, "Past 5"), by=who["engineer"].person_id, **facts)
    _answer(asked, who["operations"], "operations")
    hand = propose(site, TODAY, by=makers.somebody())
    checker = makers.an_account(role="mechanic", site=site)
    Person.objects.filter(pk=checker.person_id).update(name="k. checker")
    address, wanted = f"/decide/{asked.bearing.pk}/", "An interim check is overdue"

    def told(account, page):
        client.force_login(account)
        return " ".join(client.get(page).content.decode().replace("\u00a0", " ").split())

    due = f"overdue since {day(TODAY - dt.timedelta(days=1))}".replace("\u00a0", " ")
    assert all(wanted in told(account, "/deferrals/") for account in (checker, who["engineer"]))
    assert wanted not in told(who["foreman"], "/deferrals/")
    assert due in told(who["foreman"], "/") and due in told(who["planner"], f"/plan/?site={site.name}")
    assert "Record an interim check" not in told(who["planner"], address)
    given = {"value": "bearing metal 88 °C", "on": TODAY.isoformat()}
    assert client.post(f"{address}check/", given).status_code == 403
    assert "Record an interim check" in told(checker, address)
    for wrong in ({"value": "hot"}, {"on": (TODAY + dt.timedelta(days=1)).isoformat()}, {"on": "soon"}):
        answered = client.post(f"{address}check/", given | wrong, follow=True).content.decode()
        assert "Not recorded." in answered and wanted in answered
    assert client.post(f"{address}check/", given, follow=True).status_code == 200
    assert wanted not in told(checker, "/deferrals/") and due not in told(who["foreman"], "/")
    assert "88 °C" in told(who["foreman"], "/bearings/Past%205/DE/history/")
    assert versions.digest_of(site) == hand.digest  # a check makes no plan old


def test_several_are_answered_at_once_each_in_its_own_record(client, site, who):
    tags = ("Past 5", "Fast 4", "Slow 1")
    asked = [_ask(bearing_of(site, tag), who["planner"], reason=f"no crane for {tag}") for tag in tags[:1]]
    asked += [
        acts.ask_opening(
            bearing=bearing_of(site, tag),
            on=TODAY,
            opens_on=TODAY + dt.timedelta(days=9),
            reason=f"to look at {tag} while it is cold",
            by=who["planner"].person_id,
        )
        for tag in tags[1:]
    ]
    client.force_login(who["engineer"])
    page = client.get("/deferrals/").content.decode()
    assert "Answer several at once" in page and page.count('name="thing"') == 3
    things = [str(one.id) for one in asked]
    none = client.post("/deferrals/answers/", {"answer": "agree"}, follow=True).content.decode()
    assert "Tick what the answer is for" in none and not Agreement.objects.exists()
    said = {"thing": things[:2], "answer": "agree"}
    told = client.post("/deferrals/answers/", said, follow=True).content.decode()
    rows = Agreement.objects.filter(recorded_by=who["engineer"].person_id)
    assert {str(row.thing) for row in rows} == set(things[:2]) and all(row.agreed for row in rows)
    assert len({row.chain for row in rows}) == 2 and all(tag in told for tag in tags[:2])
    again = client.post("/deferrals/answers/", said, follow=True).content.decode()
    assert again.count("It does not wait for you") == 2 and rows.all().count() == 2
    client.post("/deferrals/answers/", {"thing": things[2:], "answer": "refuse"})
    assert rows.all().count() == 2  # a refusal needs a reason
    client.post("/deferrals/answers/", {"thing": things[2:], "answer": "refuse", "reason": "too early"})
    assert rows.filter(agreed=False, reason="too early").count() == 1
    assert client.post("/deferrals/answers/", {"thing": "x", "answer": "agree"}).status_code == 404
    client.force_login(who["foreman"])
    refused = client.post("/deferrals/answers/", said, follow=True).content.decode()
    assert "It does not wait for you" in refused and rows.all().count() == 3


def test_what_several_answers_are_for_is_asked_of_the_record_once(client, site, who):
    asked = [
        str(
            acts.ask_opening(
                bearing=bearing_of(site, tag),
                on=TODAY,
                opens_on=TODAY + dt.timedelta(days=9),
                reason=f"to look at {tag} while it is cold",
                by=who["planner"].person_id,
            ).id
        )
        for tag in ("Past 5", "Fast 4", "Slow 1")
    ]
    client.force_login(who["foreman"])
    client.get("/deferrals/")
    counts = []
    for things in (asked[:1], asked):
        with CaptureQueriesContext(connection) as queries:
            client.post("/deferrals/answers/", {"thing": things, "answer": "agree"})
        counts.append(len(queries))
    assert counts[0] == counts[1]
