"""What stands in every page's head."""

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

PAGES = (
    ("watch-list", "Watch list"),
    ("plan", "Outage plan"),
    ("trends", "Trends"),
    ("import", "Sheets"),
    ("method", "Method"),
)


def navigation(request: HttpRequest) -> dict:
    """The pages that exist, with the one that is open."""
    pages = []
    for name, words in PAGES:
        try:
            address = reverse(name)
        except NoReverseMatch:
            continue
        pages.append({"address": address, "words": words, "open": request.path == address})
    return {"nav": pages}
