"""What the tests themselves stand on."""

from importlib import import_module
from types import SimpleNamespace

import pytest
from django.core.management import call_command

from fleet.ledger.guard import missing_guards
from fleet.models import Entry, Seal
from tests import conftest
from tests.fleet.ledger.story import told


@pytest.mark.django_db(transaction=True)
def test_the_ledger_is_emptied_after_a_test_with_real_transactions_and_guarded_again():
    story = told()
    call_command("seal")
    assert Entry.objects.filter(chain=story.chain).exists() and Seal.objects.exists()
    call_command("flush", interactive=False, verbosity=0)
    assert not Entry.objects.exists() and not Seal.objects.exists()
    assert missing_guards() == []


@pytest.mark.parametrize(("in_ci", "outcome"), [(True, "failed"), (False, "skipped")])
def test_a_skipped_test_is_a_failed_one_in_ci(monkeypatch, in_ci, outcome):
    monkeypatch.setattr(conftest, "IN_CI", in_ci)
    report = SimpleNamespace(skipped=True, outcome="skipped", longrepr="no Chromium on this machine")
    assert conftest._a_skip_fails_in_ci(report).outcome == outcome
    assert "no Chromium on this machine" in report.longrepr


def test_a_failure_that_is_expected_is_no_skip(monkeypatch):
    monkeypatch.setattr(conftest, "IN_CI", True)
    report = SimpleNamespace(skipped=True, outcome="skipped", longrepr="", wasxfail="a known fault")
    assert conftest._a_skip_fails_in_ci(report).outcome == "skipped"


@pytest.mark.parametrize(
    ("name", "costly"),
    [
        ("tests.inspections.wear.test_class_curves", True),  # fits fleets
        ("tests.fleet.test_settings", True),  # starts programs
        ("tests.inspections.contact.test_reader_on_device", True),  # asks the scripts of the pages
        ("tests.fleet.test_units", False),
    ],
)
def test_what_a_file_takes_names_from_tells_whether_it_is_of_the_everyday_run(name, costly):
    assert conftest._is_costly(import_module(name)) is costly
