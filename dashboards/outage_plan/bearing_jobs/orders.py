"""What must be ordered and by when: the early date or the outage, minus lead time and margin."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dashboards.outage_plan.bearing_jobs.evaluate import Evaluation
from dashboards.outage_plan.bearing_jobs.inputs import Inputs
from dashboards.outage_plan.bearing_jobs.laid import early_date


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
        # An early date before the as-of day cannot be met any more: the outage then decides alone.
        needed = min(early, start) if early is not None and early > inputs.as_of else start
        before = dt.timedelta(days=x.lead_time_days + inputs.settings.margin_days)
        made.append(
            Order(
                x.bearing, x.family, inputs.outages[x.outage].name, needed - before, x.lead_time_days, early
            )
        )
    return tuple(sorted(made, key=lambda o: (o.order_by, o.bearing, o.family)))
