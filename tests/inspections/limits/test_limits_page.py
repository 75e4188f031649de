"""Setting one limit on a page: with a reason, once, the second of two told; and a second person where the
plant wants one.
"""

from decimal import Decimal

import pytest

from fleet.models import Limit, ProposedLimit
from fleet.plant.acts import record
from fleet.plant.register import state_facts, wear_class_named
from inspections.limits import approvals, plant_choices
from inspections.models import Event
from tests import makers

pytestmark = pytest.mark.django_db
HERE = "/bearings/Lift 1/DE/limits/"


@pytest.fixture
def bearing():
    site = makers.a_site(name="Own site")
    return makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1"), limits={})


@pytest.fixture
def engineer(client, bearing):
    client.force_login(makers.an_account(site=bearing.place.site, username="A. One"))
    return client


def sent(client, address=HERE, **other):
    """What the form sends: its own first values with others typed over."""
    form = client.get(address).context["form"]
    data = {name: form.initial.get(name, "") for name in form.fields}
    data |= {
        "value": "0.310",
        "unit": "mm",
        "authority": "plant",
        "document": "book 4",
        "reason": "worn seat",
    }
    return {name: str(value) for name, value in (data | other).items()}


def test_a_limit_is_set_with_who_says_so_where_and_why(engineer, bearing):
    page = engineer.post(HERE, sent(engineer), follow=True).content.decode()
    row = Limit.objects.get()
    assert (row.bearing, row.use, row.value_um, row.typed, row.unit) == (
        bearing,
        "in_service_max",
        310,
        "0.310",
        "mm",
    )
    assert (row.authority, row.document, row.reason) == ("plant", "book 4", "worn seat")
    assert "Set. Dates and advice follow at once." in page and "310" in page and "worn seat" in page
    assert "A. One" in page


def test_a_radial_limit_is_doubled_and_says_so(engineer):
    engineer.post(HERE, sent(engineer, value="6", unit="mil", basis="radial"))
    row = Limit.objects.get()
    assert row.value_um == Decimal("304.8") and row.typed == "6 radial"


def test_an_empty_value_lifts_the_limit_and_the_one_before_stays_readable(engineer):
    engineer.post(HERE, sent(engineer, from_on=""))
    page = engineer.post(HERE, sent(engineer, value=""), follow=True).content.decode()
    assert Limit.objects.count() == 2 and "Lifted." in page
    told = engineer.get(HERE).context["told"]
    now = {one.use: one.row for one in told.now}
    assert now["in_service_max"].value_um is None and [one.row.value_um for one in told.before] == [310]


def test_a_double_submission_stores_once(engineer):
    data = sent(engineer)
    engineer.post(HERE, data)
    page = engineer.post(HERE, data, follow=True).content.decode()
    assert Limit.objects.count() == 1 and "nothing was stored twice" in page


def test_the_second_of_two_engineers_is_shown_both_versions_and_nothing_is_lost(engineer):
    late = sent(engineer, value="0.330", reason="letter of May")
    engineer.post(HERE, sent(engineer))
    answer = engineer.post(HERE, late)
    page = answer.content.decode()
    assert answer.status_code == 409 and Limit.objects.get().value_um == 310
    assert "changed meanwhile" in page and "310" in page and "0.330" in page and "letter of May" in page


def test_a_least_above_its_most_a_wild_value_and_no_reason_are_refused(engineer):
    engineer.post(HERE, sent(engineer, use="fitting_max", value="0.170", from_on=""))
    page = engineer.post(HERE, sent(engineer, use="fitting_min", value="0.180")).content.decode()
    assert "A least cannot lie above its most" in page and 'value="0.180"' in page
    assert "Check the unit" in engineer.post(HERE, sent(engineer, value="310")).content.decode()
    assert "Say in a few words why" in engineer.post(HERE, sent(engineer, reason=" ")).content.decode()
    assert "wild" in engineer.post(HERE, sent(engineer, value="wild")).content.decode()
    assert Limit.objects.count() == 1


@pytest.mark.parametrize(
    ("role", "code"), [("mechanic", 403), ("foreman", 403), ("planner", 403), ("auditor", 403)]
)
def test_only_an_engineer_sets_a_limit(client, bearing, role, code):
    client.force_login(makers.an_account(role=role, site=bearing.place.site))
    assert client.get(HERE).status_code == 200 and b"Record it" not in client.get(HERE).content
    assert client.post(HERE, {"use": "in_service_max"}).status_code == code


def test_an_engineer_of_another_site_sees_and_sets_nothing(client, bearing):
    client.force_login(makers.an_account(site=makers.a_site()))
    assert client.get(HERE).status_code == client.post(HERE, {}).status_code == 404


def test_a_rule_in_print_fills_in_the_form_and_sets_nothing(engineer):
    page = engineer.get(HERE)
    one, fill = page.context["suggested"][0]
    form = engineer.get(fill.removesuffix("#set")).context["form"]
    assert form.initial["use"] == one.use and Decimal(form.initial["value"]) == round(one.value_um)
    assert form.initial["authority"] == "general_rule" and not Limit.objects.exists()


def test_the_class_stands_in_and_says_so(engineer, bearing):
    named = wear_class_named("cold", by=makers.somebody())
    record([Limit(wear_class=named, use="replace", value_um=280)], by=makers.somebody())
    state_facts(bearing, {"wear_class_id": named.pk}, from_on=None, by=makers.somebody())
    assert "of its class" in engineer.get(HERE).content.decode()


# A limit that does not fit the bearing is asked back


def asked_words(answer):
    """What is asked back; nothing where no question was put."""
    return [one.words for one in answer.context.get("asked", [])] if answer.context else []


def test_the_unit_is_the_bearing_s_own_and_never_that_of_another_bearing_s_limit(engineer, bearing):
    other = makers.a_bearing(place=bearing.place, position="NDE", limits={})
    record(
        [Limit(bearing=other, use="in_service_max", value_um=279.4, typed="11", unit="thou")],
        by=makers.somebody(),
    )
    assert engineer.get(HERE).context["form"].initial["unit"] == ""
    makers.a_reading(bearing=bearing, value="0.160", unit="mm")
    assert engineer.get(HERE).context["form"].initial["unit"] == "mm"


def test_a_limit_without_a_unit_is_refused_in_words_and_lifting_one_needs_none(engineer):
    page = engineer.post(HERE, sent(engineer, unit="")).content.decode()
    assert "Say the unit" in page and not Limit.objects.exists()
    engineer.post(HERE, sent(engineer, from_on=""))
    assert "Lifted." in engineer.post(HERE, sent(engineer, value="", unit=""), follow=True).content.decode()


def test_a_limit_in_the_wrong_unit_is_asked_back_and_the_right_unit_is_one_tap(engineer, bearing):
    makers.a_reading(bearing=bearing, value="0.160", unit="mm")
    data = sent(engineer, value="0.30", unit="thou")
    answer = engineer.post(HERE, data)
    page = answer.content.decode()
    assert answer.status_code == 200 and not Limit.objects.exists()
    words = " ".join(asked_words(answer))
    assert "0.08 per mille of the 100.0 mm journal" in words and "0.5 to 6.3" in words
    assert "under the last reading, 0.160 mm" in words and "0.30 mm" in page
    (unit, *_), *others = answer.context["meant"]
    assert unit == "mm" and not others, "only a unit in which it fits is offered"
    engineer.post(HERE, data | {"unit": "mm"})
    assert Limit.objects.get().value_um == 300


def test_a_limit_asked_back_is_stored_as_typed_once_it_is_said_to_be_meant(engineer, bearing):
    makers.a_reading(bearing=bearing, value="0.330", unit="mm")
    data = sent(engineer, value="0.310")
    answer = engineer.post(HERE, data)
    assert ["under the last reading, 0.330 mm" in one for one in asked_words(answer)] == [True]
    confirmed = answer.context["as_typed"]
    changed = engineer.post(HERE, data | {"value": "0.032", "confirmed": confirmed})
    assert asked_words(changed), "a yes to one value is no yes to another"
    page = engineer.post(HERE, data | {"confirmed": confirmed}, follow=True).content.decode()
    assert "Set. Dates and advice" in page and Limit.objects.get().value_um == 310


@pytest.mark.parametrize(
    ("use", "value", "words"),
    [
        ("in_service_max", "0.610", ["twice the published rule"]),
        ("in_service_max", "0.650", ["outside 0.5 to 6.3 per mille", "twice the published rule"]),
        ("fitting_max", "0.490", ["twice the published rule"]),
        ("fitting_max", "0.170", []),
        ("in_service_max", "0.310", []),
        ("lining_min", "2.5", []),
    ],
)
def test_a_limit_beyond_its_range_or_twice_the_rule_is_asked_back(engineer, use, value, words):
    answer = engineer.post(HERE, sent(engineer, use=use, value=value))
    assert [part in said for part, said in zip(words, asked_words(answer), strict=True)] == [True] * len(
        words
    )
    assert Limit.objects.exists() == (not words)


def test_going_back_from_the_question_loses_nothing_that_was_typed(engineer):
    data = sent(engineer, value="0.610", reason="letter of May")
    answer = engineer.post(HERE, data | {"then": "change"})
    assert not Limit.objects.exists()
    form = answer.context["form"]
    assert form["value"].value() == "0.610" and form["reason"].value() == "letter of May"


# A second person


@pytest.fixture
def wanted(bearing):
    plant_choices.choose(
        name="second_person", typed="yes", site=bearing.place.site, from_on=None, by=makers.somebody()
    )
    return makers.an_account(site=bearing.place.site, username="B. Other")


def answer(client, row, **other):
    return client.post(
        "/second-person/", {"thing": str(row.pk), "agreed": "yes", "back": HERE} | other, follow=True
    )


def test_a_proposed_limit_waits_on_page_and_list_until_another_confirms_it(client, engineer, bearing, wanted):
    page = engineer.post(HERE, sent(engineer), follow=True).content.decode()
    row = ProposedLimit.objects.get()
    assert "Proposed. It holds nothing" in page and not Limit.objects.exists()
    assert "Confirm:" not in page, "who proposed it is not offered to confirm it"
    client.force_login(wanted)
    assert "1\xa0limit waits for a second person" in client.get("/bearings/Lift 1/DE/").content.decode()
    for address in (HERE, "/quality/"):
        assert "Confirm: Limit: in-service maximum" in client.get(address).content.decode(), address
    page = answer(client, row).content.decode()
    assert "holds from its day on" in page and "proposed by A. One, confirmed by B. Other" in page
    assert Limit.objects.get().value_um == 310
    assert "waits any more" in answer(client, row).content.decode()


def test_who_proposed_it_is_refused_also_by_post(engineer, wanted):
    engineer.post(HERE, sent(engineer))
    page = answer(engineer, ProposedLimit.objects.get()).content.decode()
    assert "Another person must" in page and not Limit.objects.exists()


def test_a_refusal_needs_a_reason_and_changes_nothing_in_force(client, engineer, wanted):
    engineer.post(HERE, sent(engineer))
    row = ProposedLimit.objects.get()
    client.force_login(wanted)
    assert "needs a reason" in answer(client, row, agreed="no").content.decode()
    assert "Refused; nothing in force" in answer(client, row, agreed="no", reason="book 5").content.decode()
    told = client.get("/bearings/Lift 1/DE/history/").content.decode()
    assert "refused by B. Other" in told and "book 5" in told and not Limit.objects.exists()


def test_a_stranger_and_other_roles_answer_nothing(client, engineer, bearing, wanted):
    engineer.post(HERE, sent(engineer))
    row = ProposedLimit.objects.get()
    client.force_login(makers.an_account(site=makers.a_site()))
    assert "waits any more" in answer(client, row).content.decode()
    client.force_login(makers.an_account(role="foreman", site=bearing.place.site))
    assert answer(client, row).status_code == 403
    assert not Limit.objects.exists()


def test_all_limits_of_one_register_are_confirmed_at_once(client, bearing, wanted):
    makers.a_sheet(
        """site,pump,position,unit,in_service_max,new_clearance_max,limit_basis
        Own site,Lift 1,DE,mm,0.310,0.170,plant""",
        holds="register",
        name="register.csv",
    )
    client.force_login(wanted)
    assert "Confirm all 2 limits of register.csv" in client.get("/quality/").content.decode()
    act = ProposedLimit.objects.first().act
    page = client.post("/second-person/", {"of_act": str(act), "agreed": "yes"}, follow=True).content.decode()
    assert "2 limits confirmed" in page and Limit.objects.count() == 2


def test_a_new_shell_is_confirmed_in_one_tap_by_a_foreman(client, bearing, wanted):
    makers.an_event(kind="shell_change", bearing=bearing)
    client.force_login(makers.an_account(role="foreman", site=bearing.place.site, username="F. Third"))
    page = client.get("/bearings/Lift 1/DE/").content.decode()
    assert "not yet confirmed by a second person; dates count with it meanwhile" in page
    assert "Confirmed" in answer(client, Event.objects.get()).content.decode()
    assert not approvals.shells_waiting().exists()
    assert "not yet confirmed" not in client.get("/bearings/Lift 1/DE/").content.decode()
