"""What a reading at the pump is compared with."""

import datetime as dt
from types import SimpleNamespace

from inspections.visits.expectations import last_at


def _seen(on, end, value_um, *, stage="as_found", quantity="clearance"):
    return SimpleNamespace(
        on=on, end=end, clock=None, stage=stage, order=0, quantity=quantity, counts=True, value_um=value_um
    )


def test_a_later_clearance_of_the_whole_bearing_goes_before_an_older_one_of_the_end():
    before, since = dt.date(2022, 4, 17), dt.date(2026, 10, 17)
    seen = [_seen(before, "in", 286), _seen(before, "out", 256), _seen(since, "", 353)]
    known, where = SimpleNamespace(story=SimpleNamespace(measured=seen)), SimpleNamespace(end="in", clock=12)
    assert last_at(known, where).value_um == 353
    seen.append(_seen(since, "in", 350))
    assert last_at(known, where).value_um == 350


def test_another_quantity_is_compared_with_its_own_end_however_old():
    first, later = dt.date(2022, 4, 17), dt.date(2026, 10, 17)
    seen = [_seen(first, "in", 80, quantity="side"), _seen(later, "", 90, quantity="side")]
    known, where = (
        SimpleNamespace(story=SimpleNamespace(measured=seen)),
        SimpleNamespace(end="in", clock=None),
    )
    assert last_at(known, where, "side").value_um == 80
