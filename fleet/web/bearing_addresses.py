"""A bearing's own address: its pump's tag and its position, `/` in a name written `~`."""

from urllib.parse import urlencode

from django.urls import reverse

from fleet.models import Bearing


def written(name: str) -> str:
    return name.replace("/", "~")


def read(part: str) -> str:
    return part.replace("~", "/")


def bearing_address(bearing: Bearing, page: str = "bearing") -> str:
    """The address with the site in the query, so that it leads on where a tag stands at two sites."""
    path = reverse(page, args=[written(bearing.place.tag), written(bearing.name)])
    return f"{path}?{urlencode({'site': bearing.place.site.name})}"
