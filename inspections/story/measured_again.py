"""Whether a clearance was measured a second time in its visit and the two agree: then it is no slip."""

from collections.abc import Mapping, Sequence
from math import hypot

from fleet.measuring_methods import NOT_NAMED, Spread
from inspections.story.observations import Measurement, Observation

# Two readings of one station agree within so many standard errors of their difference (common practice, no
# published source).
AGREE = 2.0


def is_confirmed(last: Observation, measured: Sequence[Measurement], spreads: Mapping[str, Spread]) -> bool:
    """Whether each reading of an observation has an earlier one of its visit, stage and station beside it
    that agrees with it by both methods' standard errors.

    `measured`: the bearing's standing readings, those that no longer count too. A bound confirms nothing.
    """
    own = [one for one in measured if one.id in last.readings]
    return bool(own) and all(
        any(_agree(one, first, spreads) for first in measured if _is_repeated(first, one)) for one in own
    )


def _is_repeated(first: Measurement, second: Measurement) -> bool:
    def station(one: Measurement) -> tuple[object, ...]:
        return one.visit, one.stage, one.quantity, one.end, one.clock

    return first.repeat < second.repeat and station(first) == station(second)


def _agree(one: Measurement, other: Measurement, spreads: Mapping[str, Spread]) -> bool:
    if one.value_um is None or other.value_um is None:
        return False
    sd_um = hypot(*(spreads.get(m.method, NOT_NAMED).sd_um for m in (one, other)))
    return abs(one.value_um - other.value_um) <= AGREE * sd_um
