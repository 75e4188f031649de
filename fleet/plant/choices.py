"""The act that sets one of the plant's choices from a day on, for all sites or for one."""

import datetime as dt
import uuid
from typing import Any

from django.db.models import Q

from fleet.models import (
    Setting,
    Site,
)
from fleet.plant.acts import _filled, record

# Settings named so, with what they are of behind it, are shown at the pump alone: no figure, no plan rests
# on them.
METHOD_CARD, MACHINE_BOOK = "method_card", "machine_book"
WORDS_AT_PUMP = Q(name__startswith=f"{METHOD_CARD} ") | Q(name__startswith=f"{MACHINE_BOOK} ")


def set_setting(
    *, name: str, value: Any, site: Site | None = None, from_on: dt.date | None = None, by: uuid.UUID
) -> Setting:
    """A dated choice of the plant or of one site."""
    row = Setting(site=site, name=_filled(name, "setting's name"), value=value, from_on=from_on)
    record([row], by=by)
    return row
