"""The contact checks of a visit in rounds: which stand, which was the last of each half, what number the next
has.
"""

from collections.abc import Sequence

from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER
from inspections.models import (
    ContactCheck,
    Visit,
)

# contact -------------------------------------------------------------------------------------------------


def rounds_of(visit: Visit, bearing: Bearing) -> list[ContactCheck]:
    """The standing contact checks of one bearing in a visit, in order."""
    rows = ContactCheck.objects.standing().filter(event__visit=visit, event__bearing=bearing)
    found = list(rows.select_related("event").order_by("round", *IN_ORDER))
    for one in found:
        share = one.event.contact_percent
        vars(one)["covered"] = "" if share is None else f"{share:.0f} % of the length"
    return found


def last_rounds(rounds: Sequence[ContactCheck]) -> list[ContactCheck]:
    """The latest check of each half: what the print says now."""
    return list({(one.half or "lower"): one for one in rounds}.values())


def round_number(rounds: Sequence[ContactCheck], half: str) -> int:
    """The number of a new check: the other half of a round that is being checked joins it, else a round
    begins.
    """
    own = [one.round for one in rounds if (one.half or "lower") == half]
    others = [one.round for one in rounds if (one.half or "lower") != half]
    return max([max(own, default=0) + 1, *others])
