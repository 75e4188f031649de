"""A record is compared in the form in which the database's driver gives it: lawful rows need no second look,
and whatever stands in a column is told, though no value can be made of it.
"""

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection, transaction

from fleet.ledger import kinds, typed_rows
from fleet.ledger.driver_rows import DriverRows, Unreadable, reader
from fleet.ledger.verify import verify
from fleet.models import Bearing, Limit, Outage, Place, Setting
from fleet.plant.acts import record, revise
from tests import makers
from tests.fleet.ledger.story import told

pytestmark = pytest.mark.django_db


def test_rows_as_they_were_recorded_are_equal_at_first_sight(monkeypatch):
    looked_at = []
    monkeypatch.setattr(typed_rows._Table, "_told", lambda _, row, *__: looked_at.append(row) or iter(()))
    bearing, by = makers.a_bearing(), makers.somebody()
    makers.a_reading(bearing=bearing)
    outage = makers.an_outage(site=bearing.place.site, start_on=dt.date(2027, 4, 1))
    revise(outage, {"end_on": dt.date(2027, 5, 1)}, reason="longer", by=by)
    record([Setting(site=bearing.place.site, name="accepted_risk", value=["0.1"])], by=by)
    assert verify() and looked_at == []
    Outage.objects.filter(pk=outage.pk).update(end_on=dt.date(2027, 5, 2))
    verify()
    assert len(looked_at) == 1


@pytest.mark.sqlite  # the other engine's columns take nothing of another type
@pytest.mark.parametrize(
    ("model", "column", "altered"),
    [
        (Limit, "value_um", "wide"),
        (Limit, "recorded_at", "yesterday"),
        (Limit, "recorded_by", "nobody"),
        (Limit, "bearing_id", "another"),
        (Outage, "end_on", "soon"),
        (Outage, "start_on", 20270401),
        (Bearing, "id", "none"),
        (Place, "tag", b"P-1"),
    ],
)
def test_what_no_value_can_be_made_of_is_told_and_does_not_stop_the_check(model, column, altered):
    told()
    pk = model._base_manager.order_by("pk").values_list("pk", flat=True)[0]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("PRAGMA ignore_check_constraints=ON")
        cursor.execute(f'UPDATE "{model._meta.db_table}" SET "{column}"=%s WHERE id=%s', [altered, pk.hex])
        assert cursor.rowcount == 1
        cursor.execute("PRAGMA ignore_check_constraints=OFF")
        faults = verify().faults
        transaction.set_rollback(True)
    assert any(str(altered) in fault or column in fault for fault in faults), faults


def test_every_column_of_every_kind_is_read_back_from_its_own_form():
    """What the form of a value says is the value again, or nothing is equal to it."""
    driver, usual = DriverRows(connection), ("7", "7.5", 7, True, "2026-03-09", "text", "", None)
    for known in kinds.all_kinds():
        for field in known.fields:
            for said in usual:
                form, meant = driver.former(field)(said), reader(field)(said)
                if isinstance(form, Unreadable):
                    continue
                back = driver.value(field, form)
                assert back == meant or meant == form, (known.name, field.name, said, form, meant)


def test_more_digits_than_a_column_keeps_are_equal_to_nothing_that_it_holds():
    driver, value_um = DriverRows(connection), Limit._meta.get_field("value_um")
    form = driver.former(value_um)
    assert form("152.4000") == form("152.4") == Decimal("152.4") or form("152.4000") == 152.4
    assert form("152.40001") != form("152.4000")
    assert form("wide") != form("wide")
