"""What stands in every page's head."""

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from fleet.access import may, words_for

PAGES = (
    ("watch-list", "Watch list"),
    ("plan", "Outage plan"),
    ("trends", "Trends"),
    ("import", "Sheets"),
    ("quality", "Record"),
    ("method", "Method"),
)


def navigation(request: HttpRequest) -> dict:
    """The pages that exist, which one is open, and who looks at it."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    pages = []
    governs = may(user, "people and sites")
    for name, label in (*PAGES, *((("people", "People"),) if governs else ())):
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        pages.append({"url": url, "label": label, "current": request.path == url})
    unread = user.notices.filter(read_at=None).order_by("at") if user.has_notices else ()
    return {
        "nav": pages,
        "signed_in_as": words_for(user),
        "find_text": request.GET.get("find", ""),
        "notices": list(unread),
    }
