"""The addresses of the screens at the pump."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any
from urllib.parse import urlencode

from django.urls import reverse

from fleet.models import Bearing
from fleet.web.bearing_addresses import written
from inspections.models import Stage

_SCREENS = (
    "check",
    "print",
    "scraped",
    "work",
    "seen",
    "opened",
    "close",
    "sheet",
    "photo",
    "people",
    "other",
)


@dataclass
class ScreenAddresses:
    """The screens of one bearing."""

    bearing: Bearing

    def address(self, page: str, **query: Any) -> str:
        """The address of a screen, the site in its query."""
        path = reverse(page, args=[written(self.bearing.place.tag), written(self.bearing.name)])
        return f"{path}?{urlencode({'site': self.bearing.place.site.name} | query)}"

    @cached_property
    def leads(self) -> dict[str, str]:
        """The addresses of the screens that others lead to."""
        addresses = {screen: self.address(f"record-{screen}") for screen in _SCREENS}
        addresses |= {
            "counts": self.address("record-counts"),
            "taken_back": self.address("record-taken-back"),
        }
        addresses["start"] = self.address("record")
        return addresses | {stage: self.address("record-reading", stage=stage) for stage in Stage.values}
