"""Bore minus journal of a visit at the pump: the clearance that two diameters make, with its verdict."""

import math
from typing import Any

from inspections.models import Quantity, Stage
from inspections.visits.stations import Station
from inspections.visits.verdict import Verdict, verdict, with_unit


def bore_minus_journal(desk: Any) -> list[tuple[str, str, Verdict]]:
    """(stage in words, value, verdict) of each clearance that bore and journal of this visit make; none without a bore.

    The two diameters are measured apart, so their uncertainties add in squares (JCGM 100:2008, 5.1.2).
    """
    if not any(one.quantity == Quantity.BORE for one in desk.readings):
        return []
    found = [one for one in desk.story.observations if one.derived and one.visit == desk.visit.pk]
    sds = {one.pk: desk.sd_of(one) for one in desk.readings}
    journals = [sds[one.pk] for one in desk.readings if one.quantity == Quantity.JOURNAL]
    said = []
    for one in found:
        bores = [sds[pk] for pk in one.readings if pk in sds]
        if one.value_um is None or not bores or not journals:
            continue
        sd = math.hypot(max(bores), max(journals))
        unit = next(row.unit for row in desk.readings if row.pk in one.readings)
        judged = verdict(
            one.value_um, sd, unit, desk.held(one.stage), desk.expected(one.stage, Station("", None))
        )
        said.append((str(Stage(one.stage).label), with_unit(one.value_um, unit), judged))
    return said
