"""Bore minus journal of a visit at the pump: the clearance that two diameters make, with its verdict."""

import math

from inspections.models import Quantity, Stage
from inspections.visits.stations import Station
from inspections.visits.verdict import Verdict, verdict, with_unit
from inspections.visits.visit_rules import VisitRules


def bore_minus_journal(rules: VisitRules) -> list[tuple[str, str, Verdict]]:
    """(stage in words, value, verdict) of each clearance that bore and journal of this visit make; none
    without a bore.

    The two diameters are measured apart, so their uncertainties add in squares (JCGM 100:2008, 5.1.2).
    """
    visit = rules.record.visit
    if visit is None or not any(one.quantity == Quantity.BORE for one in rules.record.readings):
        return []
    found = [one for one in rules.record.story.observations if one.derived and one.visit == visit.pk]
    sds = {one.pk: rules.sd_of(one) for one in rules.record.readings}
    journals = [sds[one.pk] for one in rules.record.readings if one.quantity == Quantity.JOURNAL]
    said = []
    for one in found:
        bores = [sds[pk] for pk in one.readings if pk in sds]
        if one.value_um is None or not bores or not journals:
            continue
        sd = math.hypot(max(bores), max(journals))
        unit = next(row.unit for row in rules.record.readings if row.pk in one.readings)
        judged = verdict(
            one.value_um, sd, unit, rules.held(one.stage), rules.expected(one.stage, Station("", None))
        )
        said.append((str(Stage(one.stage).label), with_unit(one.value_um, unit), judged))
    return said
