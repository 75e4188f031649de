"""The commands of the record and its people: what they do, what they print, and their exit codes."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import OperationalError

import manage
from fleet.ledger.verify import verify
from fleet.models import Account, Chain, Entry, Limit, Role, Seal, Site
from tests.conftest import CHECKOUT
from tests.fleet.ledger.story import guards_lifted, told

pytestmark = pytest.mark.django_db


def run(capsys, *command: str) -> str:
    call_command(*command)
    return capsys.readouterr().out


def test_a_command_waits_for_no_package_that_only_files_and_fits_need():
    code = "import sys, django; django.setup(); import fleet.urls; "
    code += "print({'pandas', 'scipy.stats'} & {*sys.modules})"
    done = subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True)
    assert done.stdout.strip() == "set()", done.stdout + done.stderr


# verify_records


def test_a_record_without_a_seal_is_sound_only_within_itself(capsys):
    told()
    said = run(capsys, "verify_records")
    assert said.startswith("10 entries on 2 chains, 0 seals, 8 rows read.")
    assert "Sound within itself" in said and "No seal was made yet" in said
    assert "nothing recorded here was changed" not in said


def test_a_sound_record_makes_the_exact_claim_and_no_more(capsys):
    told()
    call_command("seal")
    seal = Seal.objects.get()
    said = run(capsys, "verify_records")
    assert "nothing recorded here was changed or removed since the last seal kept outside" in said
    assert f"{seal.sealed_at:%Y-%m-%d %H:%M} UTC" in said
    assert "What came later, and what was never entered, no chain can show." in said


def test_an_altered_record_exits_1_and_names_the_first_faults(capsys):
    story = told()
    with guards_lifted():
        Entry.objects.filter(chain=story.chain).delete()
    with pytest.raises(CommandError, match=r"altered: \d+ faults") as refusal:
        call_command("verify_records")
    assert refusal.value.returncode == 1
    assert f"{story.chain}: its head says 5 entries; 0 that end so are there." in capsys.readouterr().out


def test_only_the_first_twenty_faults_are_listed_and_the_rest_counted(capsys):
    for n in range(9):
        told(f"site {n}")
    with guards_lifted():
        Limit.objects.all().delete()
    with pytest.raises(CommandError, match="altered: 27 faults"):
        call_command("verify_records")
    said = capsys.readouterr().out.splitlines()
    said = [line for line in said if not line.startswith(("Looked at ", "Not covered: "))]
    assert len(said) == 1 + 20 + 1
    assert said[-1] == "... and 7 more."


@pytest.mark.parametrize("trouble", [OSError("the disk is gone"), KeyError("kind"), RuntimeError("anything")])
def test_what_could_not_be_checked_exits_2_and_never_1(monkeypatch, trouble):
    def fails() -> None:
        raise trouble

    monkeypatch.setattr("fleet.management.commands.verify_records.verify", fails)
    with pytest.raises(CommandError, match="could not check") as refusal:
        call_command("verify_records")
    assert refusal.value.returncode == 2


# seal


def test_a_seal_kept_outside_finds_what_was_written_anew_behind_it(tmp_path, capsys):
    """An owner who removes the seals too, and makes all fit again, is found by the file alone."""
    story = told()
    chain, paper = story.chain, tmp_path / "seal.json"
    run(capsys, "seal", "--out", str(paper))
    assert "compared with seal.json" in run(capsys, "verify_records", "--seal", str(paper))
    with guards_lifted():
        Seal.objects.all().delete()
        Limit.objects.filter(bearing=story.bearing).delete()
        Entry.objects.filter(chain=chain).delete()
        Chain.objects.filter(id=chain).delete()
        story.bearing.delete()
    assert verify(), "within itself the record fits together"
    with pytest.raises(CommandError) as refusal:
        call_command("verify_records", "--seal", str(paper))
    assert refusal.value.returncode == 1
    assert f"seal.json: {chain} no longer holds what was sealed at entry 5." in capsys.readouterr().out


def test_the_file_of_a_seal_names_every_chain_and_its_head(tmp_path, capsys):
    story = told()
    paper = tmp_path / "seal.json"
    said = run(capsys, "seal", "--out", str(paper))
    kept = json.loads(paper.read_text("utf-8"))
    # The person "command line" is made by the first command and stands on the plant's own chain.
    assert [leaf["chain"] for leaf in kept["leaves"]] == sorted(
        [story.chain, f"site:{story.site.id}", "plant"]
    )
    assert kept["hash"] == Seal.objects.get().hash
    assert json.loads(kept["seal"])["root"] in said


def test_an_earlier_seals_file_is_never_written_over(tmp_path):
    paper = tmp_path / "seal.json"
    paper.write_text("an earlier one")
    with pytest.raises(CommandError, match="is there already") as refusal:
        call_command("seal", "--out", str(paper))
    assert refusal.value.returncode == 2
    assert paper.read_text() == "an earlier one"
    assert not Seal.objects.exists()


def test_where_the_file_cannot_be_written_nothing_is_sealed(tmp_path):
    with pytest.raises(CommandError, match="Nothing was sealed"):
        call_command("seal", "--out", str(tmp_path / "no folder" / "seal.json"))
    assert not Seal.objects.exists()


@pytest.mark.parametrize("content", ["", "{}", '{"hash": "0", "leaves": [], "seal": "{}"}'])
def test_a_file_that_is_no_seal_or_was_changed_cannot_be_compared(tmp_path, content):
    paper = tmp_path / "seal.json"
    paper.write_text(content)
    with pytest.raises(CommandError, match="could not check") as refusal:
        call_command("verify_records", "--seal", str(paper))
    assert refusal.value.returncode == 2


# add_person


def password_in(said: str) -> str:
    return re.search(r"first sign-in: ([a-z0-9]{5}(?:-[a-z0-9]{5}){3})$", said.strip())[1]


def test_the_first_administrator_is_made_on_an_empty_record(capsys, client):
    password = password_in(run(capsys, "add_person", "Ada Ember", "--role", "administrator"))
    account = Account.objects.get()
    assert account.check_password(password) and account.must_change_password
    assert Role.objects.get().role == "administrator" and Role.objects.get().site is None
    assert verify(), "the person and the role stand in the ledger"
    # The chain holds the person's inner id; the name stands beside it, where it can be blanked.
    assert not Entry.objects.filter(text__contains="Ember").exists()


def test_a_one_time_password_opens_one_page_until_it_is_changed(capsys, client):
    password = password_in(run(capsys, "add_person", "Ada Ember", "--role", "reader"))
    client.post("/sign-in/", {"username": "ada ember", "password": password})
    assert client.get("/no-such-page/").status_code == 404
    turned = client.get("/")
    assert (turned.status_code, turned["Location"]) == (302, "/sign-in/password/")
    assert "made for one use" in client.get("/sign-in/password/").content.decode()
    own = {
        "old_password": password,
        "new_password1": "nine lead wires, cut",
        "new_password2": "nine lead wires, cut",
    }
    assert client.post("/sign-in/password/", own).status_code == 302
    account = Account.objects.get()
    assert account.check_password("nine lead wires, cut") and not account.must_change_password
    assert client.get("/sign-in/password/").status_code == 200, "the change does not sign out who made it"


def test_a_weak_password_of_ones_own_is_refused(capsys, client):
    password = password_in(run(capsys, "add_person", "Ada Ember", "--role", "reader"))
    client.force_login(Account.objects.get())
    weak = {"old_password": password, "new_password1": "password1234", "new_password2": "password1234"}
    page = client.post("/sign-in/password/", weak)
    assert "too common" in page.content.decode()
    assert Account.objects.get().must_change_password


def test_the_health_of_the_site_is_told_without_signing_in(client):
    assert client.get("/health/").json() == {"up": True}


def test_a_second_role_leaves_the_password_as_it_is(capsys):
    story = told()
    run(capsys, "add_person", "Ada Ember", "--role", "engineer", "--site", "north  WORKS")
    before = Account.objects.get().password
    said = run(capsys, "add_person", "ada ember", "--role", "planner")
    assert said.strip() == "Ada Ember is planner at all sites now; the password stays as it is."
    assert Account.objects.get().password == before
    assert set(Role.objects.values_list("role", "site")) == {("engineer", story.site.pk), ("planner", None)}


def test_a_lost_password_is_replaced_by_another_for_one_use(capsys):
    first = password_in(run(capsys, "add_person", "Ada Ember", "--role", "reader"))
    second = password_in(run(capsys, "add_person", "Ada Ember", "--role", "reader", "--new-password"))
    account = Account.objects.get()
    assert (
        account.check_password(second) and not account.check_password(first) and account.must_change_password
    )
    assert Role.objects.count() == 1


def test_an_unknown_site_is_refused_with_those_there_are_and_nothing_is_stored():
    told()
    with pytest.raises(
        CommandError, match=r"No site is called 'South works'\. Sites are: North works\."
    ) as refusal:
        call_command("add_person", "Ada Ember", "--role", "reader", "--site", "South works")
    assert refusal.value.returncode == 2
    assert not Account.objects.exists()


# demo and manage.py


def test_the_demo_refuses_any_record_but_its_own():
    with pytest.raises(CommandError, match="keeps a record of its own") as refusal:
        call_command("demo", "--no-serve")
    assert refusal.value.returncode == 2
    assert not Site.objects.exists()


def test_the_demo_says_that_it_does_not_use_a_database_that_is_named(capsys):
    manage.prepare("demo", {"DATABASE_URL": "postgresql://plant"})
    assert "DATABASE_URL is set and not used" in capsys.readouterr().err
    manage.prepare("demo", {})
    assert capsys.readouterr().err == ""


def test_the_demo_is_started_on_its_own_file_whatever_the_environment_says():
    environment = {"DATABASE_URL": "postgresql://the-plant/record", "PLAIN_HTTP": "no"}
    manage.prepare("demo", environment)
    assert environment["DATABASE_URL"] == f"sqlite:///{Path(manage.__file__).parent / 'demo.sqlite3'}"
    assert environment["PLAIN_HTTP"] == "yes"


@pytest.mark.parametrize(
    ("command", "who"), [("migrate", "owner"), ("restore", "owner"), ("forecast", "site")]
)
def test_only_migrate_and_restore_act_as_the_owner_of_the_tables(command, who):
    environment = {
        "DATABASE_URL": "postgresql://site@/record",
        "DATABASE_OWNER_URL": "postgresql://owner@/record",
    }
    manage.prepare(command, environment)
    assert environment["DATABASE_URL"] == f"postgresql://{who}@/record"
    assert "PLAIN_HTTP" not in environment


@pytest.mark.parametrize(
    ("ends", "command", "code"),
    [
        (SystemExit(1), "verify_records", 1),
        (SystemExit(1), "import_history", 2),
        (SystemExit(2), "verify_records", 2),
        (RuntimeError("unforeseen"), "verify_records", 2),
        (None, "forecast", 0),
    ],
)
def test_1_is_the_word_of_verify_records_alone(monkeypatch, ends, command, code):
    def execute(arguments: list[str]) -> None:
        if ends:
            raise ends

    monkeypatch.setattr("django.core.management.execute_from_command_line", execute)
    assert manage.run(["manage.py", command]) == code


def raises(monkeypatch, fault: Exception) -> None:
    def execute(arguments: list[str]) -> None:
        raise fault

    monkeypatch.setattr("django.core.management.execute_from_command_line", execute)


def test_a_record_that_was_never_migrated_is_said_in_one_sentence(monkeypatch, capsys):
    raises(monkeypatch, OperationalError("no such table: fleet_person"))
    monkeypatch.setattr("django.db.migrations.executor.MigrationExecutor.migration_plan", lambda *_: [1, 2])
    assert manage.run(["manage.py", "forecast"]) == 2
    said = capsys.readouterr().err
    assert "lacks 2 of its migrations" in said and "Run manage.py migrate" in said
    assert "Traceback" not in said


def test_a_database_that_cannot_be_reached_is_said_in_one_sentence(monkeypatch, capsys):
    raises(monkeypatch, OperationalError("unable to open database file"))

    def closed(*_) -> None:
        raise OperationalError("unable to open database file")

    monkeypatch.setattr("django.db.connection.ensure_connection", closed)
    assert manage.run(["manage.py", "forecast"]) == 2
    said = capsys.readouterr().err
    assert said == ("The database that DATABASE_URL names cannot be used: unable to open database file\n")


def test_a_fault_of_the_database_on_a_migrated_record_keeps_its_trace(monkeypatch, capsys):
    raises(monkeypatch, OperationalError("disk I/O error"))
    assert manage.run(["manage.py", "forecast"]) == 2
    assert "Traceback" in capsys.readouterr().err
