"""The act that schedules an outage."""

import datetime as dt
import uuid
from typing import Any

from fleet.models import (
    Outage,
    Site,
)
from fleet.plant.acts import _filled, record


def schedule_outage(
    *, site: Site, name: str, start_on: dt.date, end_on: dt.date, by: uuid.UUID, **more: Any
) -> Outage:
    """A new outage; `more` takes crew_hours, block, pumps, scope_freeze_on."""
    row = Outage(site=site, name=_filled(name, "outage's name"), start_on=start_on, end_on=end_on, **more)
    record([row], by=by)
    return Outage.objects.get(pk=row.pk)
