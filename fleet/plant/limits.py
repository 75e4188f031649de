"""The act that sets limits: dated, with authority and document; where the site wants it, each then waits for
a second person.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

from fleet.models import (
    Authority,
    Bearing,
    Limit,
    LimitUse,
    ProposedLimit,
)
from fleet.plant.acts import Refused, record
from fleet.plant.second_person import proposed, sites_wanting

# Limits, settings, instruments, outages


def set_limits(
    bearings: Iterable[Bearing],
    limits: Mapping[str, Decimal | None],
    *,
    authority: str = "",
    document: str = "",
    from_on: dt.date | None = None,
    by: uuid.UUID,
    act: uuid.UUID | None = None,
    **more: Any,
) -> list[Limit | ProposedLimit]:
    """Dated limits (use -> um, diametral; None lifts it) of positions, with who says so and where it is
    written.

    Where the site wants a second person they are proposed and hold nothing yet. `more`: typed, unit, reason,
    id.
    """
    unknown = sorted(set(limits) - set(LimitUse.values))
    if unknown:
        raise Refused(f"'{unknown[0]}' is no use of a limit. Uses are: {', '.join(LimitUse.values)}.")
    if authority and authority not in Authority.values:
        raise Refused(f"'{authority}' is no authority. Authorities are: {', '.join(Authority.values)}.")
    of = list(bearings)
    wait = sites_wanting({bearing.place.site for bearing in of})
    rows = [
        Limit(
            bearing=bearing,
            use=use,
            value_um=value,
            quantity="lining" if use == LimitUse.LINING_MIN else "clearance",
            authority=authority,
            document=document,
            from_on=from_on,
            **more,
        )
        for bearing in of
        for use, value in limits.items()
    ]
    made = [proposed(row) if row.bearing and row.bearing.place.site_id in wait else row for row in rows]
    record(made, by=by, act=act)
    return made
