"""A second person for limits and new shells: never the first, never a stranger, and nothing for plants that
leave it off.
"""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.ledger import writing
from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Confirmation, Limit, ProposedLimit
from fleet.plant import second_person
from fleet.plant.acts import Refused, withdraw
from fleet.plant.limits import set_limits
from fleet.plant.people import add_person, give_role
from inspections.limits import approvals, plant_choices
from inspections.models import Event
from inspections.story.audit_trail import ledger_story
from tests import makers

pytestmark = pytest.mark.django_db
NEW = {"in_service_max": Decimal(310)}


class Two:
    """A site that wants a second person, a bearing without limits, two engineers, and one of another site."""

    def __init__(self, wanted=True):
        self.site = makers.a_site(name="Own site")
        self.bearing = makers.a_bearing(place=makers.a_place(site=self.site, tag="Lift 1"), limits={})
        self.one, self.other = (
            makers.an_account(site=self.site, username=name) for name in ("A. One", "B. Other")
        )
        self.stranger = makers.an_account(site=makers.a_site())
        if wanted:
            plant_choices.choose(
                name="second_person", typed="yes", site=self.site, from_on=None, by=makers.somebody()
            )

    def propose(self):
        (row,) = set_limits(
            [self.bearing],
            NEW,
            authority="plant",
            document="book 4",
            reason="worn seat",
            by=self.one.person_id,
        )
        return row


@pytest.fixture
def two():
    return Two()


def sound():
    """The ledger is whole and every row as its entry says, also after all rows were made anew from the
    ledger.
    """
    before = (
        list(Confirmation.objects.values()),
        list(ProposedLimit.objects.values()),
        list(Limit.objects.values()),
    )
    clean = not verify().faults
    rebuild()
    after = (
        list(Confirmation.objects.values()),
        list(ProposedLimit.objects.values()),
        list(Limit.objects.values()),
    )
    return clean and before == after and not verify().faults


def test_a_limit_holds_nothing_before_another_engineer_confirms_it(two):
    waits = two.propose()
    assert isinstance(waits, ProposedLimit) and not Limit.objects.exists()
    (holds,) = second_person.answer_limits([waits], agreed=True, by=two.other.person_id)
    row = Limit.objects.get()
    assert (row.pk, row.value_um, row.authority, row.document, row.reason) == (
        holds.pk,
        310,
        "plant",
        "book 4",
        "worn seat",
    )
    second = Confirmation.objects.get()
    assert (second.thing, second.act, second.recorded_by) == (waits.pk, row.act, two.other.person_id)
    assert sound()


def test_who_proposed_a_limit_cannot_confirm_it_even_by_calling_the_act(two):
    waits = two.propose()
    with pytest.raises(Refused, match="Another person must"):
        second_person.answer_limits([waits], agreed=True, by=two.one.person_id)
    with pytest.raises(Refused, match="Another person must"):
        second_person.answer_limits([waits], agreed=False, reason="mistyped", by=two.one.person_id)
    assert not Confirmation.objects.exists() and not Limit.objects.exists()


@pytest.mark.parametrize("who", ["stranger", "foreman", "no account", "closed account"])
def test_only_an_engineer_of_that_site_with_an_open_account_confirms_a_limit(two, who):
    waits = two.propose()
    by = two.stranger.person_id
    if who == "foreman":
        by = makers.an_account(role="foreman", site=two.site).person_id
    elif who == "no account":
        person = add_person(name="C. Third")
        give_role(person=person, role="engineer", site=two.site, by=makers.somebody())
        by = person.pk
    elif who == "closed account":
        two.other.is_active = False
        two.other.save()
        by = two.other.person_id
    with pytest.raises(Refused, match="one of these roles at Own site"):
        second_person.answer_limits([waits], agreed=True, by=by)
    assert not Limit.objects.exists()


def test_a_limit_is_answered_once_and_a_refusal_needs_a_reason(two):
    waits = two.propose()
    with pytest.raises(Refused, match="refusal needs a reason"):
        second_person.answer_limits([waits], agreed=False, by=two.other.person_id)
    second_person.answer_limits([waits], agreed=False, reason="book 5 says less", by=two.other.person_id)
    with pytest.raises(Refused, match="answered this already"):
        second_person.answer_limits([waits], agreed=True, by=two.other.person_id)
    assert not Limit.objects.exists() and not ProposedLimit.objects.waiting().exists()
    assert sound()


def test_the_history_says_who_proposed_and_who_confirmed(two):
    second_person.answer_limits([two.propose()], agreed=True, by=two.other.person_id)
    told = {line.kind: line for line in ledger_story(two.bearing).lines}
    assert told["proposed_limit"].who == "proposed by A. One"
    assert told["confirmation"].who == "proposed by A. One, confirmed by B. Other"
    assert told["limit"].who == "proposed by A. One, confirmed by B. Other"
    assert (
        "Confirmed by a second person: " in told["confirmation"].what and "310" in told["confirmation"].what
    )
    assert "worn seat" in told["limit"].what


def test_as_known_between_proposal_and_confirmation_the_limit_only_waits(two, monkeypatch):
    two.propose()
    waits = ProposedLimit.objects.get()
    two_days_on = waits.recorded_at + dt.timedelta(days=2)
    monkeypatch.setattr(writing, "recorded_now", lambda: two_days_on)
    second_person.answer_limits([waits], agreed=True, by=two.other.person_id)
    then = {line.kind: line for line in ledger_story(two.bearing, waits.recorded_at.date()).lines}
    assert then["proposed_limit"].who == "proposed by A. One" and not {"confirmation", "limit"} & set(then)
    now = {line.kind for line in ledger_story(two.bearing, two_days_on.date()).lines}
    assert {"proposed_limit", "confirmation", "limit"} <= now


def test_a_proposal_that_was_withdrawn_can_be_confirmed_by_nobody_and_the_history_says_so(two):
    two.propose()
    withdraw(ProposedLimit.objects.get(), reason="wrong pump", by=two.one.person_id)
    with pytest.raises(Refused):
        second_person.answer_limits([ProposedLimit.objects.get()], agreed=True, by=two.other.person_id)
    assert not Limit.objects.exists()
    (line,) = [one for one in ledger_story(two.bearing).lines if one.kind == "proposed_limit"]
    assert "wrong pump" in line.withdrawn and sound()


REGISTER = """site,pump,position,unit,in_service_max,new_clearance_max,limit_basis
Own site,Lift 1,DE,mm,0.310,0.170,plant
"""


def brought(by, text=REGISTER):
    return import_file(text.encode(), "register.csv", holds="register", by=by, options=Options())


def test_limits_of_a_register_wait_too_and_do_not_wait_twice(two):
    first = brought(two.one.person_id)
    assert first.ok and "2 limits wait for a second person and hold nothing before" in first.remarks
    assert not Limit.objects.exists() and ProposedLimit.objects.waiting().count() == 2
    again = brought(two.one.person_id, REGISTER + "\n")
    assert again.ok and again.counts.already == 1 and ProposedLimit.objects.count() == 2
    with pytest.raises(Refused):
        second_person.answer_limits(list(ProposedLimit.objects.all()), agreed=True, by=two.one.person_id)
    second_person.answer_limits(list(ProposedLimit.objects.all()), agreed=True, by=two.other.person_id)
    assert Limit.objects.count() == 2
    third = brought(two.one.person_id, REGISTER + "\n\n")
    assert third.counts.already == 1 and not ProposedLimit.objects.waiting().exists()
    assert sound()


def test_where_nobody_chose_it_nothing_waits():
    two = Two(wanted=False)
    assert isinstance(two.propose(), Limit)
    makers.an_event(kind="shell_change", bearing=two.bearing)
    brought(two.one.person_id)
    assert not ProposedLimit.objects.exists() and Event.objects.get().awaits_second is None
    assert not approvals.waiting([two.bearing], two.other)


def test_a_new_shell_is_recorded_at_once_and_waits_for_another_foreman_or_engineer(two):
    row = makers.an_event(kind="shell_change", bearing=two.bearing)
    assert row.awaits_second and list(approvals.shells_waiting()) == [row]
    mechanic = makers.an_account(role="mechanic", site=two.site)
    for by in (row.recorded_by, mechanic.person_id, two.stranger.person_id):
        with pytest.raises(Refused):
            approvals.confirm_shells([row], by=by)
    foreman = makers.an_account(role="foreman", site=two.site)
    approvals.confirm_shells([row], by=foreman.person_id)
    assert not approvals.shells_waiting().exists()
    with pytest.raises(Refused, match="already"):
        approvals.confirm_shells([row], by=two.other.person_id)
    told = {line.kind: line for line in ledger_story(two.bearing).lines}
    assert "wants a second person" in told["event"].what
    assert told["confirmation"].who.endswith(f"confirmed by {foreman.person}")
    assert sound()


def test_a_new_shell_out_of_a_sheet_waits_too_and_one_before_the_choice_does_not(two):
    makers.a_sheet(f"""site,pump,position,date,event
        Own site,Lift 1,DE,{dt.date(2021, 3, 9)},shell_change""")
    assert Event.objects.get().awaits_second
    plant_choices.choose(name="second_person", typed="no", site=two.site, from_on=None, by=makers.somebody())
    assert approvals.shells_waiting().count() == 1
    makers.an_event(kind="shell_change", bearing=two.bearing, on=dt.date(2022, 3, 9))
    assert approvals.shells_waiting().count() == 1


def test_a_new_shell_that_is_taken_back_waits_no_more(two):
    from inspections.records.corrections import withdraw

    row = makers.an_event(kind="shell_change", bearing=two.bearing)
    withdraw(row=row, by=makers.somebody(), reason="entered at the wrong pump")
    assert not approvals.waiting([two.bearing], two.other)
