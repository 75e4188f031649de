"""The commands: exit 0 done, 2 refused with every line printed and nothing stored."""

import pytest
from django.core.management import CommandError, call_command

from fleet.models import Entry, Person, Sheet, Site

pytestmark = pytest.mark.django_db
GOOD = "site,pump,position\nAsh Ferry,P-1,DE\n"
BAD = "site,pump,position,seat,fitted_on\nAsh Ferry,,DE,square,\nAsh Ferry,P-1,DE,,3/4/2019\n"


@pytest.fixture
def file(tmp_path):
    def write(words, name="register.csv"):
        path = tmp_path / name
        path.write_text(words, encoding="utf-8")
        return str(path)

    return write


def test_a_good_sheet_is_stored_and_says_its_counts(file, capsys):
    call_command("import_register", file(GOOD))
    assert "1 row seen = 1 stored + 0 set aside + 0 already there + 0 blank" in capsys.readouterr().out
    assert Person.objects.get(pk=Sheet.objects.get().recorded_by).name == "command line"


def test_every_fault_is_printed_and_the_exit_is_2(file, capsys):
    with pytest.raises(CommandError) as refused:
        call_command("import_register", file(BAD))
    assert refused.value.returncode == 2 and "3 faults" in str(refused.value)
    printed = capsys.readouterr().out.splitlines()
    assert [line.split(": ")[0] for line in printed if line.startswith("row")] == [
        "row 2, column seat",
        "row 2, column pump",
        "row 3, column fitted_on",
    ]
    assert not Site.objects.exists()


def test_the_one_who_acts_is_named_or_the_command_line(file):
    call_command("import_register", file(GOOD), by="Ada of the works")
    call_command("import_register", file(GOOD + "Ash Ferry,P-1,NDE\n"), by="ada  of the Works")
    assert set(Sheet.objects.values_list("recorded_by", flat=True)) == {Person.objects.get().id}


def test_a_file_that_is_not_there_and_a_plan_are_refused_with_2(file):
    for arguments in ([file(GOOD) + ".gone"], [file(GOOD), "--plan", "overhauls"]):
        with pytest.raises(CommandError) as refused:
            call_command("import_register", *arguments)
        assert refused.value.returncode == 2


def test_the_date_format_is_declared_and_checked(file, capsys):
    words = "site,pump,position,fitted_on\nAsh Ferry,P-1,DE,03/04/2019\n"
    with pytest.raises(CommandError):
        call_command("import_register", file(words), date_format="day first")
    assert "file: 'day first' found" in capsys.readouterr().out
    call_command("import_register", file(words), date_format="DD/MM/YYYY")


def test_a_dry_run_stores_nothing(file):
    call_command("import_register", file(GOOD), dry_run=True)
    assert (
        not Site.objects.exists()
        and not Entry.objects.exclude(kind__in=("person", "name_commitment")).exists()
    )
