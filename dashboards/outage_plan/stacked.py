"""A plan's bearings drawn on one time axis: each with its readings, path and fan, limits, and the opening
planned for it.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from django.utils.safestring import SafeString

from dashboards.outage_plan.proposal import Proposal
from fleet.models import Bearing
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.judgement_figures import READING
from inspections.trend.assembly import trends_of
from inspections.trend.strip import axis_of, strip, strip_axis
from inspections.trend.values import Trend, TrendJob

HEIGHT = 56.0
YEARS_BACK = 6  # further back a strip is narrow on a phone; the bearing's own page shows all
MOST_DRAWN = 120  # bearings: more are listed in words, so that the page stays quick


@dataclass(frozen=True)
class Stack:
    """The axis to stand once on the page, and the strips by the bearing's name."""

    axis: SafeString | None
    strips: dict[str, SafeString]
    trends: dict[str, Trend] = field(default_factory=dict)

    def expected(self, name: str, on: dt.date) -> tuple[float, float] | None:
        """What a bearing is expected to read on a day, um, from its 1 in 10 to its 9 in 10; None where
        nothing is drawn.
        """
        fan = self.trends[name].fan if name in self.trends else None
        if fan is None or not fan.days[0] <= on <= fan.days[-1]:
            return None
        days = [day.toordinal() for day in fan.days]
        low, high = (float(np.interp(on.toordinal(), days, edge)) for edge in (fan.p10, fan.p90))
        return low, high


def stack(made: Proposal, only: Mapping[str, str] | None = None) -> Stack:
    """The bearings that a plan opens or leaves above the accepted risk, or `only` these, each with the unit
    its figures are drawn in.
    """
    found, given = made.evaluation, made.inputs
    if found is None or given is None:
        return Stack(None, {})
    jobs = {job.bearing: job for job in found.jobs}
    names = [*jobs, *(one.bearing for one in found.not_fitting if one.bearing not in jobs)]
    names = [name for name in names if only is None or name in only][:MOST_DRAWN]
    ids = {made.bearing_ids[name]: name for name in names if name in made.bearing_ids}
    rows = Bearing.objects.select_related("place__site").filter(pk__in=ids)
    bearings = {ids[str(row.pk)]: row for row in rows}
    if not bearings:
        return Stack(None, {})
    figures = current(list(bearings.values()), made.as_of)
    drawn = trends_of(list(bearings.values()), figures, made.as_of)
    trends = {}
    for name, bearing in bearings.items():
        trend = drawn[bearing.pk][1]
        job = jobs.get(name)
        if job is not None:
            outage = given.outages[given.outage_at[job.outage]]
            trigger = job.trigger_um if job.trigger_is == READING else None
            until = max(trend.until, outage.end_on)
            trend = replace(trend, until=until, job=TrendJob(outage.start_on, outage.end_on, trigger))
        trends[name] = trend
    axis = axis_of(list(trends.values()), "plan", YEARS_BACK)
    units = only or {}
    strips = {name: strip(trend, axis, HEIGHT, unit=units.get(name, "um")) for name, trend in trends.items()}
    return Stack(strip_axis(axis), strips, trends)
