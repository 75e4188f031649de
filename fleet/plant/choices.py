"""Every act on the plant: people, sites, places with their positions, names, limits, outages, spares, settings.

Each act checks, then writes its entries; `record` puts many new rows on the right chains in one write.
"""

import datetime as dt
import uuid
from typing import Any

from fleet.models import (
    Setting,
    Site,
)
from fleet.plant.acts import _filled, record


def set_setting(
    *, name: str, value: Any, site: Site | None = None, from_on: dt.date | None = None, by: uuid.UUID
) -> Setting:
    """A dated choice of the plant or of one site."""
    row = Setting(site=site, name=_filled(name, "setting's name"), value=value, from_on=from_on)
    record([row], by=by)
    return row
