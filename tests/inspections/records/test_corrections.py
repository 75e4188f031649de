"""Putting the record right: with a reason, both versions kept, the second of two told,
nothing stored twice.
"""

import pytest

from inspections.models import Reading
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def reading():
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    return makers.a_reading(bearing=bearing, value="0.051", unit="mm", method="feeler")


def address(row):
    return f"/bearings/Lift 1/DE/correct/{row.pk}/"


def sent(client, row, **other):
    """What the form sends: its own first values with others typed over."""
    form = client.get(address(row)).context["form"]
    data = {name: form.initial.get(name, "") for name in form.fields} | {
        "act": "correct",
        "reason": "typed wrong",
    }
    return {name: str(value) for name, value in (data | other).items()}


@pytest.fixture
def engineer(client):
    client.force_login(makers.an_account())
    return client


def test_a_corrected_reading_takes_the_place_of_the_old_one_and_both_stay(engineer, reading):
    answer = engineer.post(
        address(reading), sent(engineer, reading, value="0.151", station="in-12"), follow=True
    )
    page = answer.content.decode()
    assert "Corrected; both versions are kept" in page
    assert "typed 0.051 mm" in page and "typed 0.151 mm" in page and "typed wrong" in page
    (new,) = Reading.objects.standing()
    assert (new.supersedes, new.typed, new.end, new.clock, new.method) == (
        reading.pk,
        "0.151",
        "in",
        12,
        "feeler",
    )


def test_without_a_reason_nothing_is_changed_and_what_was_typed_stays(engineer, reading):
    page = engineer.post(
        address(reading), sent(engineer, reading, value="0.151", reason=" ")
    ).content.decode()
    assert "Say in a few words why the record changes." in page and 'value="0.151"' in page
    assert Reading.objects.standing().get().pk == reading.pk


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"value": "1_000"}, "Put this right first"),
        ({"value": "99999"}, "Put this right first"),
        ({"on": "2999-01-01"}, "lies ahead"),
        ({"station": "top"}, "is no station"),
        ({"unit": "furlong"}, "Put this right first"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(engineer, reading, typed, said):
    page = engineer.post(address(reading), sent(engineer, reading, **typed)).content.decode()
    assert said in page
    assert Reading.objects.standing().get().pk == reading.pk


def test_who_comes_second_is_shown_both_versions_and_stores_nothing(engineer, reading):
    mine = sent(engineer, reading, value="0.152", reason="I say so")
    theirs = sent(engineer, reading, value="0.151")
    engineer.post(address(reading), theirs)
    answer = engineer.post(address(reading), mine)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "It was changed meanwhile" in page and "typed 0.151 mm" in page
    assert "0.152 mm" in page and "I say so" in page
    assert [one.typed for one in Reading.objects.standing()] == ["0.151"]


def test_the_same_form_sent_twice_is_stored_once(engineer, reading):
    form = sent(engineer, reading, value="0.151")
    engineer.post(address(reading), form)
    page = engineer.post(address(reading), form, follow=True).content.decode()
    assert "nothing was stored twice" in page
    assert Reading.objects.count() == 2


def test_a_reading_is_set_apart_and_put_back(engineer, reading):
    seen = engineer.get(address(reading)).context["reason_form"].initial["seen"]
    engineer.post(address(reading), {"act": "apart", "reason": "warm shell", "seen": seen})
    reading.refresh_from_db()
    assert reading.not_for_wear and reading.not_for_wear_because == "warm shell"
    assert "Use it for wear again" in engineer.get(address(reading)).content.decode()
    seen = engineer.get(address(reading)).context["reason_form"].initial["seen"]
    engineer.post(address(reading), {"act": "back", "reason": "it was cold", "seen": seen})
    reading.refresh_from_db()
    assert not reading.not_for_wear


def test_an_event_is_taken_back_and_only_that(engineer):
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    scrape = makers.an_event(bearing=bearing, kind="scrape")
    page = engineer.get(address(scrape))
    assert "It should have been recorded as" not in page.content.decode()
    seen = page.context["reason_form"].initial["seen"]
    assert engineer.post(address(scrape), {"act": "correct", "reason": "x", "seen": seen}).status_code == 404
    page = engineer.post(
        address(scrape), {"act": "withdraw", "reason": "another pump", "seen": seen}, follow=True
    )
    assert "another pump" in page.content.decode()
    scrape.refresh_from_db()
    assert scrape.withdrawn_by


def test_a_reading_of_another_bearing_is_not_corrected_here(engineer, reading):
    other = makers.a_reading(bearing=makers.a_bearing(place=makers.a_place(tag="Lift 2")))
    assert engineer.get(address(other)).status_code == 404


def test_a_mechanic_reads_the_history_without_the_way_to_change_it(client, reading):
    client.force_login(makers.an_account(role="mechanic"))
    assert "put right" not in client.get("/bearings/Lift 1/DE/history/").content.decode()
    assert client.get(address(reading)).status_code == 403
