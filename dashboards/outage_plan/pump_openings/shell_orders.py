"""What must be ordered and by when: the early date or the outage, minus lead time and margin."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.pump_openings.evaluate import Evaluation
from dashboards.outage_plan.pump_openings.inputs import Inputs
from inspections.forecasts.judgement.judgement_figures import Why


@dataclass(frozen=True)
class Order:
    """One half shell to order for a bearing's planned new shell."""

    bearing: str
    family: str
    outage: str
    order_by: dt.date
    lead_time_days: float
    early_on: dt.date | None  # the accepted risk is reached; None beyond the horizon

    def days_left(self, as_of: dt.date) -> int:
        """Days until the order must be out; negative when it should have been."""
        return (self.order_by - as_of).days


def orders(plan: Evaluation, inputs: Inputs) -> tuple[Order, ...]:
    """Every shell the plan takes from an order, the most pressing first."""
    made = []
    for x in plan.shells:
        if x.source != "order" or x.lead_time_days is None:
            continue
        early = early_date(inputs, x.bearing)
        start = inputs.outages[x.outage].start_on
        judged = inputs.bearings[inputs.bearing_at[x.bearing]].judged
        # An early date before the as-of day cannot be met any more: the outage then decides alone.
        needed = min(early, start) if early is not None and early > inputs.as_of else start
        by = needed - dt.timedelta(days=x.lead_time_days + inputs.settings.margin_days)
        if judged.why == Why.PAST:
            by = min(by, inputs.as_of)  # past its maximum: whatever is decided now, no later day is right
        made.append(Order(x.bearing, x.family, inputs.outages[x.outage].name, by, x.lead_time_days, early))
    return tuple(sorted(made, key=lambda o: (o.order_by, o.bearing, o.family)))


def early_date(inputs: Inputs, bearing: str) -> dt.date | None:
    """The day on which the chance of having passed the maximum reaches the accepted risk; None beyond the
    judged outages.
    """
    judged = inputs.bearings[inputs.bearing_at[bearing]].judged
    points = [(0.0, judged.past_now)] + [
        (float(max((c.start_on - inputs.as_of).days, 0)), c.past) for c in judged.columns
    ]
    known = [(day, past) for day, past in points if past is not None]
    if judged.accepted_risk is None or not known:
        return None
    days, curve = np.array([d for d, _ in known]), np.maximum.accumulate([p for _, p in known])
    if curve[-1] < judged.accepted_risk:
        return None
    k = int(np.searchsorted(curve, judged.accepted_risk))
    if k == 0:
        return inputs.as_of
    share = (judged.accepted_risk - curve[k - 1]) / (curve[k] - curve[k - 1])
    return inputs.as_of + dt.timedelta(days=int(days[k - 1] + share * (days[k] - days[k - 1])))
