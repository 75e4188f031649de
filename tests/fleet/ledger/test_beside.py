"""What stands beside the ledger and is altered behind the site's back is found; what
nothing covers is named.
"""

import importlib

import pyotp
import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connection

from fleet.clock import now
from fleet.ledger.committed_rows import NOT_COVERED
from fleet.ledger.database_guards import trigger_names
from fleet.ledger.seal import seal_now
from fleet.ledger.verify import verify
from fleet.models import Account, Entry, Person, SheetRow, StoredFile
from fleet.plant import accounts, second_factor
from fleet.plant.name_removal import blank_name
from fleet.plant.people import add_person
from fleet.web.one_time_codes import new_salt, secret_of
from tests import makers
from tests.fleet.ledger.story import guards_lifted

pytestmark = pytest.mark.django_db
SHEET = (
    "pump,position,date,event,stage,method,value,unit\n"
    "{tag},DE,2020-03-09,reading,as_found,feeler,0.20,mm\n{tag},DE,2022-03-09,reading,as_found,feeler,0.24,mm\n"
)


def _a_plant() -> Account:
    account = makers.an_account(role="foreman")
    bearing = makers.a_bearing()
    assert makers.a_sheet(SHEET.format(tag=bearing.place.tag)).ok
    assert verify().faults == []
    return account


def a_name(account: Account) -> None:
    Person.objects.filter(pk=account.person_id).update(name="Somebody Else")


def an_employer(account: Account) -> None:
    Person.objects.filter(pk=account.person_id).update(employer="another firm")


def a_person_put_in(account: Account) -> None:
    Person.objects.create(name="Nobody Known", folded="nobody known")


def two_accounts_swapped(account: Account) -> None:
    other = makers.an_account(role="reader")
    first, second = account.person_id, other.person_id
    spare = add_person(name="Spare").pk
    for pk, person in ((account.pk, spare), (other.pk, first), (account.pk, second)):
        Account.objects.filter(pk=pk).update(person=person)


def an_account_opened(account: Account) -> None:
    accounts.shut(account, by=account.person_id)
    assert verify().faults == []
    Account.objects.update(is_active=True)


def a_sign_in_name(account: Account) -> None:
    Account.objects.filter(pk=account.pk).update(username="other")


def an_account_put_in(account: Account) -> None:
    Account.objects.create(username="ghost", person=add_person(name="Ghost"))


def an_account_taken_out(account: Account) -> None:
    Account.objects.filter(pk=account.pk).delete()


def a_name_put_back_after_it_was_taken_out(account: Account) -> None:
    blank_name(person=account.person, by=account.person_id)
    assert verify().faults == []
    Person.objects.filter(pk=account.person_id).update(name="Somebody")


def the_bytes_of_a_file(account: Account) -> None:
    file = StoredFile.objects.first()
    StoredFile.objects.filter(pk=file.pk).update(data=bytes(file.data).replace(b"0.24", b"0.42"))


def a_known_row(account: Account) -> None:
    SheetRow.objects.filter(number=3).update(digest="0" * 64)


def a_known_row_taken_out(account: Account) -> None:
    SheetRow.objects.filter(number=3).delete()


def all_known_rows_taken_out(account: Account) -> None:
    SheetRow.objects.all().delete()


def a_trigger(account: Account) -> None:
    table = Entry._meta.db_table
    name = trigger_names(connection.vendor, table)[0]
    with connection.cursor() as cursor:
        on = f" ON {table}" if connection.vendor == "postgresql" else ""
        cursor.execute(f"DROP TRIGGER {name}{on}")


def a_trigger_that_refuses_nothing(account: Account) -> None:
    """Of the right name at the right place."""
    table = Entry._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "CREATE OR REPLACE FUNCTION fleet_refuse_change() RETURNS trigger LANGUAGE plpgsql AS"
                " $$ BEGIN RETURN NEW; END $$"
            )
        else:
            cursor.execute(f"DROP TRIGGER {table}_no_update")
            cursor.execute(
                f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} WHEN 0 BEGIN SELECT 1; END"
            )


def a_trigger_of_some_columns(account: Account) -> None:
    table = Entry._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"DROP TRIGGER {table}_no_change ON {table}")
            cursor.execute(
                f"CREATE TRIGGER {table}_no_change BEFORE DELETE OR UPDATE OF chain ON {table}"
                " FOR EACH ROW EXECUTE FUNCTION fleet_refuse_change()"
            )
        else:
            refuse = "SELECT RAISE(ABORT, 'no')"
            cursor.execute(f"DROP TRIGGER {table}_no_update")
            cursor.execute(
                f"CREATE TRIGGER {table}_no_update BEFORE UPDATE OF chain ON {table} BEGIN {refuse}; END"
            )


def another_ones_second_factor(account: Account) -> None:
    salt = new_salt()
    code = pyotp.TOTP(secret_of(account.pk, salt)).at(now())
    assert second_factor.set_up(account, salt=salt, code=code)
    assert verify().faults == []
    Account.objects.filter(pk=account.pk).update(code_salt=new_salt())


def a_second_factor_asked_no_more(account: Account) -> None:
    second_factor.require_of(["foreman"], by=account.person_id)
    assert verify().faults == []
    Account.objects.filter(pk=account.pk).update(must_have_code=False)


def an_entry_set_before_the_one_it_follows(account: Account) -> None:
    first, *_, last = Entry.objects.filter(chain="plant").order_by("n")
    with guards_lifted():
        Entry.objects.filter(pk=last.pk).update(id=-first.pk)


ALTERATIONS = [
    a_name,
    an_employer,
    a_person_put_in,
    two_accounts_swapped,
    an_account_opened,
    a_sign_in_name,
    an_account_put_in,
    an_account_taken_out,
    a_name_put_back_after_it_was_taken_out,
    the_bytes_of_a_file,
    a_known_row,
    a_known_row_taken_out,
    all_known_rows_taken_out,
    a_trigger,
    a_trigger_that_refuses_nothing,
    a_trigger_of_some_columns,
    another_ones_second_factor,
    a_second_factor_asked_no_more,
    an_entry_set_before_the_one_it_follows,
]


@pytest.mark.parametrize("alter", ALTERATIONS, ids=lambda alter: alter.__name__)
def test_an_alteration_beside_the_ledger_is_found(alter):
    account = _a_plant()
    alter(account)
    assert verify().faults


def test_what_is_done_to_an_account_stands_in_the_record_with_who_did_it():
    account, by = makers.an_account(role="foreman"), makers.somebody()
    accounts.renew(account, by=by)
    accounts.shut(account, by=by)
    accounts.shut(account, by=by, open_again=True)
    rows = Entry.objects.filter(kind="account_state", thing=account.person_id, by=by).order_by("n")
    assert [text.split('"what":"')[1].split('"')[0] for text in rows.values_list("text", flat=True)] == [
        "password set anew",
        "closed",
        "opened again",
    ]
    assert verify().faults == []


def test_a_blanked_name_leaves_nothing_by_which_it_could_be_tried():
    account = makers.an_account(role="foreman")
    blank_name(person=account.person, by=makers.somebody())
    assert Person.objects.get(pk=account.person_id).salt == ""
    assert verify().faults == []
    Person.objects.filter(pk=account.person_id).update(salt=new_salt())
    assert any("the salt to try names by, stands there again" in fault for fault in verify().faults)


def test_what_was_on_file_before_gets_its_entries_at_the_upgrade():
    person = Person.objects.create(name="Long Here", folded="long here")
    Account.objects.create(username="long", person=person)
    assert len(verify().faults) == 2
    upgrade = importlib.import_module("fleet.migrations.0010_commit_to_what_is_on_file")
    upgrade.commit(apps, None)
    assert verify().faults == []
    Account.objects.update(username="short")
    assert len(verify().faults) == 1


def test_the_check_lists_what_it_looked_at_and_what_nothing_covers(capsys):
    seal_now(by=makers.somebody())
    call_command("verify_records")
    said = capsys.readouterr().out
    for words in ("names of people", "kept files", "stored forecasts", "refusal to change"):
        assert f"Looked at {words}" in said or words in said
    for words in ("passwords", "plan in hand", "receipts", "tapped"):
        assert any(words in what for what in NOT_COVERED)
    assert said.count("Not covered: ") == len(NOT_COVERED)


def test_a_seal_cut_off_is_missed_by_the_copy_kept_outside(tmp_path, capsys):
    from django.core.management import CommandError

    from fleet.models import Seal

    makers.a_bearing()
    call_command("seal", out=tmp_path / "kept.json")
    with guards_lifted():
        Seal.objects.all().delete()
    with pytest.raises(CommandError, match="altered"):
        call_command("verify_records", seal=[tmp_path / "kept.json"])
    assert "not in the record as it was handed out" in capsys.readouterr().out


def test_parameters_and_figures_that_were_changed_are_found():
    from inspections.forecasts.refit import refit
    from inspections.models import Forecast, ForecastRun

    makers.a_worn_fleet()
    run = refit(by=makers.somebody())
    assert verify().faults == []
    row = Forecast.objects.filter(run=run).first()
    changes = (
        (Forecast.objects.filter(pk=row.pk), {"advice": "wait"}, {"advice": row.advice}),
        (
            Forecast.objects.filter(pk=row.pk),
            {"figures": row.figures | {"notes": []}},
            {"figures": row.figures},
        ),
        (ForecastRun.objects.filter(pk=run.pk), {"parameters": {}}, {"parameters": run.parameters}),
        (ForecastRun.objects.filter(pk=run.pk), {"engine": "0"}, {"engine": run.engine}),
    )
    for rows, altered, right in changes:
        rows.update(**altered)
        assert len(verify().faults) == 1, altered
        rows.update(**right)
    assert verify().faults == []
