"""Each stamp of a typed row is compared with its entry, and what holds is told by the order of entries, not
by a clock.
"""

import datetime as dt
import uuid
from decimal import Decimal

import pytest

from fleet.ledger import writing
from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Limit, Outage, Setting, WearClass
from fleet.plant.acts import record, revise
from fleet.plant.limits import set_limits
from tests import makers
from tests.fleet.ledger.story import told

pytestmark = pytest.mark.django_db

STAMPS = {
    "recorded_at": dt.datetime(2001, 2, 3, tzinfo=dt.UTC),
    "recorded_by": uuid.UUID(int=7),
    "act": uuid.UUID(int=8),
    "chain": "plant",
    "entry_n": 77,
}


@pytest.mark.parametrize("stamp", STAMPS)
def test_a_stamp_changed_behind_the_sites_back_is_found_and_named(stamp):
    story = told()
    row = Limit.objects.standing().filter(bearing=story.bearing).first()
    Limit.objects.filter(pk=row.pk).update(**{stamp: STAMPS[stamp]})
    (fault,) = verify().faults
    assert f"limit {row.pk}" in fault and stamp in fault


@pytest.fixture
def clock(monkeypatch):
    """Sets the clock of recording to a day."""

    def at(year: int) -> None:
        instant = dt.datetime(year, 5, 1, tzinfo=dt.UTC)
        monkeypatch.setattr(writing, "recorded_now", lambda: instant)

    return at


def _maximum(bearing) -> Decimal:
    return (
        Limit.objects.filter(bearing=bearing)
        .holding_on(dt.date(2030, 1, 1), "use")["in_service_max"]
        .value_um
    )


def test_the_limit_set_last_holds_although_the_clock_was_set_back(clock):
    bearing, by = makers.a_bearing(), makers.somebody()
    for year, um in ((2026, "300"), (2020, "350")):
        clock(year)
        set_limits([bearing], {"in_service_max": Decimal(um)}, by=by)
    assert _maximum(bearing) == 350


def test_a_revision_with_the_clock_set_back_is_the_one_that_holds_and_is_not_blamed(clock):
    clock(2026)
    outage = makers.an_outage(site=makers.a_site(), start_on=dt.date(2027, 4, 1))
    for year, day in ((2026, 10), (2020, 20)):
        clock(year)
        revise(outage, {"end_on": dt.date(2027, 4, day)}, reason="longer", by=makers.somebody())
    assert verify().faults == []
    assert Outage.objects.get(pk=outage.pk).end_on == dt.date(2027, 4, 20)
    rebuild()
    assert Outage.objects.get(pk=outage.pk).end_on == dt.date(2027, 4, 20)


def test_across_chains_the_sites_own_goes_before_the_plants_whatever_the_clock_says(clock):
    site, by = makers.a_site(), makers.somebody()
    for year, where, value in ((2020, site, "0.05"), (2026, None, "0.2")):
        clock(year)
        record([Setting(site=where, name="accepted_risk", value=value)], by=by)
    assert Setting.objects.in_force("accepted_risk", site, dt.date(2030, 1, 1)) == "0.05"


def test_a_row_of_its_own_chain_goes_before_one_that_stands_elsewhere():
    """A row named for a position but standing on another chain never takes over what the position's own chain
    says.
    """
    bearing, by = makers.a_bearing(), makers.somebody()
    set_limits([bearing], {"in_service_max": Decimal("300")}, by=by)
    stray = Limit(bearing=bearing, use="in_service_max", value_um=Decimal("900"), quantity="clearance")
    stray.authority = "plant"
    writing.write([writing.Fact("site:elsewhere", "limit", stray)], by=by)
    assert _maximum(bearing) == 300


def test_a_limit_of_the_class_stands_in_only_where_the_position_has_none(clock):
    from inspections.limits.limits_of_one import limits_of

    bearing, by = makers.a_bearing(), makers.somebody()
    wear_class = WearClass(name="C 7", folded="c 7")
    clock(2020)
    set_limits([bearing], {"in_service_max": Decimal("300")}, by=by)
    clock(2026)
    of_class = Limit(
        wear_class=wear_class, use="in_service_max", value_um=Decimal("400"), quantity="clearance"
    )
    of_class.authority = "plant"
    record([wear_class, of_class], by=by)
    held = {told.use: told for told in limits_of(bearing, wear_class, dt.date(2030, 1, 1)).now}
    assert held["in_service_max"].row.value_um == 300
