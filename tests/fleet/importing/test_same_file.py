"""The very same file again adds nothing: no row, no entry, not even that it came."""

import pytest

from fleet.models import Entry, Sheet
from tests import makers

pytestmark = pytest.mark.django_db

REGISTER = "site,pump,position,unit,journal_diameter\nNorth,Lift 1,DE,mm,100"


def test_the_same_file_twice_adds_no_entry_and_leads_to_the_first_import():
    first = makers.a_sheet(REGISTER, holds="register")
    counted = (Entry.objects.count(), Sheet.objects.count())
    again = makers.a_sheet(REGISTER, holds="register")
    assert again.ok and again.sheet == first.sheet
    assert (again.counts.stored, again.counts.already) == (0, 1)
    assert (Entry.objects.count(), Sheet.objects.count()) == counted


def test_another_file_with_the_same_rows_is_kept_as_a_file_of_its_own():
    makers.a_sheet(REGISTER, holds="register")
    spaced = makers.a_sheet(REGISTER.replace("Lift 1", "Lift  1"), holds="register", name="other.csv")
    assert spaced.counts.already == 1 and Sheet.objects.count() == 2
