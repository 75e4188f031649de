"""Two positions that are one: everything moves in one act, the old name leads on, the record stays sound."""

import datetime as dt
import io
from decimal import Decimal

import pytest
from django.core.management import call_command

from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Bearing, Entry, Place, Setting
from fleet.plant import second_person
from fleet.plant.limits import set_limits
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.reproduction import EQUAL, recompute
from inspections.limits import plant_choices
from inspections.models import Event, Forecast, MeterEntry, Reading
from inspections.records import position_merge
from inspections.records.openings import NotRecorded
from inspections.story.audit_trail import ledger_story
from inspections.visits import machine_book
from inspections.visits.acts import begin, close, open_visit_of
from tests import makers
from tests.inspections.bundle.test_bundle import checked
from tests.inspections.forecasts.test_reproduction import _put_off

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


@pytest.fixture
def site():
    return makers.a_site()


@pytest.fixture
def stays(site):
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1", positions=("DE",)))
    makers.a_reading(bearing=bearing, on=dt.date(2012, 5, 4), value="0.150")
    makers.a_reading(bearing=bearing, on=dt.date(2016, 5, 4), value="0.170")
    return bearing


@pytest.fixture
def gone(site):
    """The same pump under the tag of another sheet: one reading is in both, one and a scrape only here."""
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="L-001", positions=("IB",)), position="IB")
    makers.a_reading(bearing=bearing, on=dt.date(2016, 5, 4), value="0.170")
    makers.a_reading(bearing=bearing, on=dt.date(2020, 5, 4), value="0.195")
    makers.an_event(bearing=bearing, kind="scrape", on=dt.date(2020, 5, 4))
    makers.a_meter_entry(place=bearing.place, on=dt.date(2020, 5, 4), hours=9000)
    return bearing


def _merge(gone, stays):
    return position_merge.merge(gone=gone, stays=stays, by=makers.somebody(), reason="one pump, two tags")


def test_everything_is_moved_in_one_act_and_what_both_had_counts_once(gone, stays):
    told = position_merge.preview(gone=gone, stays=stays)
    assert Reading.objects.standing().filter(bearing=gone).count() == 2
    moved = _merge(gone, stays)
    assert (moved.moved, moved.alike) == (told.moved, told.alike)
    assert moved.moved["reading"] == 1 and moved.alike["reading"] == 1 and moved.moved["event"] == 1
    for model in (Reading, Event):
        assert not model.objects.standing().filter(bearing=gone).exists()
    assert MeterEntry.objects.standing().get().place_id == stays.place_id
    assert {r.visit.place_id for r in Reading.objects.standing()} == {stays.place_id}
    assert current([stays], TODAY)[stays.pk]["readings"] == 3
    gone.refresh_from_db()
    assert set(Entry.objects.filter(act=gone.withdrawn_by).values_list("kind", flat=True)) >= {
        "reading",
        "name",
        "withdrawal",
    }
    new = Reading.objects.standing().get(bearing=stays, on=dt.date(2020, 5, 4))
    assert Reading.objects.get(pk=new.supersedes).bearing_id == gone.pk


def test_the_machines_book_moves_and_what_the_one_that_stays_has_entered_goes_before(gone, stays):
    by, days = makers.somebody(), (dt.date(2024, 1, 1), dt.date(2025, 1, 1))
    machine_book.enter(bearing=gone, entries={"cap_torque": "120 N m", "shims": "0.5 mm"}, on=days[0], by=by)
    machine_book.enter(bearing=stays, entries={"shims": "0.6 mm"}, on=days[1], by=by)
    assert position_merge.preview(gone=gone, stays=stays).moved["setting"] == 2
    _merge(gone, stays)
    rows = Setting.objects.standing()
    books = [machine_book.book_of(stays, day, rows).entries for day in days]
    assert books == [
        {"cap_torque": "120 N m", "shims": "0.5 mm"},
        {"cap_torque": "120 N m", "shims": "0.6 mm"},
    ]
    assert not rows.filter(name__endswith=str(gone.pk)).exists() and verify().faults == []


def test_the_emptied_one_is_retired_and_its_old_name_leads_on(client, site, gone, stays):
    _merge(gone, stays)
    assert list(Bearing.objects.standing().filter(place__site=site)) == [stays]
    assert not Place.objects.standing().filter(tag="L-001").exists()
    client.force_login(makers.an_account(site=site))
    assert client.get("/bearings/L-001/IB/").context["bearing"] == stays
    assert client.get(f"/b/{gone.pk}/").status_code == 302
    history = client.get("/bearings/L-001/IB/history/").content.decode()
    assert "one pump, two tags" in history and "Moved" in history
    assert "joined with" in history


def test_a_position_that_is_not_the_pumps_last_leaves_the_pump(site, stays):
    place = makers.a_place(site=site, tag="L-002", positions=("IB", "OB"))
    one = makers.a_bearing(place=place, position="IB")
    makers.a_reading(bearing=one, on=dt.date(2020, 5, 4), value="0.195")
    makers.a_meter_entry(place=place, on=dt.date(2020, 5, 4), hours=9000)
    _merge(one, stays)
    assert Place.objects.standing().filter(tag="L-002").exists()
    assert MeterEntry.objects.standing().get().place_id == place.pk
    assert Reading.objects.standing().filter(bearing=stays).count() == 3 and verify().faults == []


def test_the_record_stays_sound_can_be_made_anew_and_old_decisions_recompute(gone, stays):
    _put_off(gone)
    _merge(gone, stays)
    assert verify().faults == []
    n = Reading.objects.standing().count()
    rebuild([Forecast])
    assert verify().faults == [] and Reading.objects.standing().count() == n
    assert [one.outcome for one in recompute()] == [EQUAL]


def test_joining_twice_stores_once(gone, stays):
    _merge(gone, stays)
    n = Entry.objects.count()
    assert _merge(gone, stays) is None and Entry.objects.count() == n


def test_other_sites_itself_and_no_reason_are_refused(gone, stays):
    for other, reason in ((makers.a_bearing(), "one"), (stays, "one"), (gone, " ")):
        with pytest.raises(NotRecorded):
            position_merge.merge(gone=other, stays=stays, by=makers.somebody(), reason=reason)
    assert len(ledger_story(stays).lines) and Bearing.objects.standing().filter(pk=gone.pk).exists()


def test_a_visit_that_is_still_open_at_the_one_that_goes_is_refused_and_one_at_the_other_is_not(gone, stays):
    begin(bearing=gone, on=TODAY, by=makers.somebody())
    begin(bearing=stays, on=TODAY, by=makers.somebody())
    n = Entry.objects.count()
    with pytest.raises(NotRecorded, match=r"A visit at L-001 is still open\. Close it"):
        _merge(gone, stays)
    assert Entry.objects.count() == n
    visit = open_visit_of(gone.place, TODAY)
    close(visit=visit, on=TODAY, by=makers.somebody(), missing=[], checked_by=None)
    assert _merge(gone, stays) is not None


def test_a_limit_that_waits_for_a_second_person_at_the_one_that_goes_is_refused_until_answered(
    site, gone, stays
):
    plant_choices.choose(name="second_person", typed="yes", site=site, from_on=None, by=makers.somebody())
    one, other = (makers.an_account(site=site, username=name).person_id for name in ("A. One", "B. Other"))
    limits = {"in_service_max": Decimal(310)}
    (waits,) = set_limits([gone], limits, authority="plant", by=one)
    set_limits([stays], limits, authority="plant", by=one)
    n = Entry.objects.count()
    with pytest.raises(NotRecorded, match=r"A limit of .* waits for a second person"):
        _merge(gone, stays)
    assert Entry.objects.count() == n
    second_person.answer_limits([waits], agreed=False, reason="mistyped", by=other)
    assert _merge(gone, stays) is not None


# the page -------------------------------------------------------------------------------------------------


def _sent(**other):
    return {"other_pump": "Lift 1", "other_position": "DE", "reason": "one pump, two tags"} | other


@pytest.fixture
def engineer(client, site):
    client.force_login(makers.an_account(site=site))
    return client


def test_the_page_shows_what_would_move_then_moves_it_and_a_second_submission_stores_nothing(
    engineer, gone, stays
):
    n = Entry.objects.count()
    page = engineer.get("/bearings/L-001/IB/join/", _sent()).content.decode()
    assert "What moves to Lift 1, DE" in page and "the pump is retired" in page and Entry.objects.count() == n
    assert (
        "Not moved: photos and other files, rows of sheets set aside, the pump’s facts and planned duty"
        in page
    )
    answer = engineer.post("/bearings/L-001/IB/join/", _sent(), follow=True)
    assert "Joined: its name leads here" in answer.content.decode() and answer.context["bearing"] == stays
    n = Entry.objects.count()
    again = engineer.post("/bearings/L-001/IB/join/", _sent(), follow=True)
    assert "nothing was stored twice" in again.content.decode() and Entry.objects.count() == n


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"reason": " "}, "Say in a few words why the two are one."),
        ({"other_pump": "Lift 9"}, "Check pump and position"),
    ],
)
def test_the_page_says_what_is_missing_and_moves_nothing(engineer, gone, stays, other, said):
    answer = engineer.post("/bearings/L-001/IB/join/", _sent(**other))
    assert said in answer.content.decode() and Bearing.objects.standing().filter(pk=gone.pk).exists()


def test_nobody_joins_without_the_role_or_across_sites(client, site, gone, stays):
    makers.a_bearing(place=makers.a_place(tag="Far 1", positions=("DE",)))
    client.force_login(makers.an_account(site=site))
    assert (
        "Check pump and position"
        in client.post("/bearings/L-001/IB/join/", _sent(other_pump="Far 1")).content.decode()
    )
    client.force_login(makers.an_account(role="mechanic", site=site))
    assert client.post("/bearings/L-001/IB/join/", _sent()).status_code == 403
    client.force_login(makers.an_account(site=makers.a_site()))
    assert client.post("/bearings/L-001/IB/join/", _sent()).status_code == 404
    assert Bearing.objects.standing().filter(pk=gone.pk).exists()


@pytest.mark.usefixtures("pango")
def test_the_bundle_of_the_one_that_stands_holds_both_chains_and_is_sound(gone, stays, tmp_path):
    _merge(gone, stays)
    call_command("export_history", "L-001", "IB", out=tmp_path / "bundle", stdout=io.StringIO())
    code, words = checked(tmp_path / "bundle")
    assert code == 0, words
    assert f"bearing:{gone.pk}" in (tmp_path / "bundle" / "entries.jsonl").read_text()
