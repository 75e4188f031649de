"""The plans in hand as one typed data frame, of the sites at which an account may do an act."""

from collections.abc import Iterable

import pandas as pd

from dashboards.outage_plan import drafts, versions
from dashboards.outage_plan.following import states_of
from dashboards.outage_plan.plan_sheet import COLUMNS, rows_of
from dashboards.outage_plan.proposal import Proposal
from fleet.access import sites_for
from fleet.models import Account
from fleet.sheets.frames import DAY, NUMBER, TEXT, WORD, frame

_NOT_TEXT = {
    "site": TEXT,
    "outage": WORD,
    "action": WORD,
    "crew_hours": NUMBER,
    "p_max_before_work": NUMBER,
    "p_max_if_deferred": NUMBER,
    "outage_start": DAY,
    "outage_end": DAY,
    "order_by": DAY,
    "trigger_um": NUMBER,
    "p_trigger": NUMBER,
    "scrape_from_um": NUMBER,
    "crew_hours_p90": NUMBER,
    "crew_hours_most": NUMBER,
    "shells_p90": NUMBER,
    "state": WORD,
    "opens_on": DAY,
}


def plan_lines(account: Account, *, act: str = "read") -> pd.DataFrame:
    """What the plans in hand hold for every bearing with work, and who stays above the accepted risk without
    any.

    Returns
    -------
    DataFrame
        as `lines_of` makes it, site by site; a site without a plan in hand has no lines.
    """
    plans = []
    for site in sites_for(account, act):
        hand = drafts.in_hand(site)
        version = versions.version(hand, versions.HAND) if hand else None
        if hand and version:
            plans.append(versions.shown(hand, version))
    return lines_of(plans)


def lines_of(proposals: Iterable[Proposal]) -> pd.DataFrame:
    """Plans under the columns of the plan sheet, each with its type: hours are crew hours, chances 0 to 1."""
    types = {name: _NOT_TEXT.get(name, TEXT) for name in COLUMNS}
    return frame(types, (row for one in proposals for row in rows_of(one, states_of(one.site))))
