"""The unit of a machine's own book: what its limits were entered in, whatever gauge was used last."""

from collections import Counter

from fleet.models import Authority, LimitUse
from inspections.forecasts.wear_inputs import Known

# Which entry of the book speaks first; a rule of thumb is no entry of the machine's book.
_FIRST = (LimitUse.IN_SERVICE_MAX, LimitUse.FITTING_MAX, LimitUse.FITTING_MIN, LimitUse.REPLACE)


def book_unit(known: Known) -> str:
    """The unit in which the book of a bearing's machine speaks: `mm`, `um`, `mil`, `thou` or `in`.

    That of its limits as entered, the maximum first; else the one that most of its clearances were typed in,
    the latest of two that are even; empty where neither says.
    """
    for use in _FIRST:
        limit = known.limits.get(use)
        if limit is not None and limit.unit and limit.authority != Authority.GENERAL_RULE:
            return str(limit.unit)
    typed = [one.unit for one in known.story.measured if one.quantity == "clearance" and one.unit]
    return Counter(reversed(typed)).most_common(1)[0][0] if typed else ""
