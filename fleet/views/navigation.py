"""What stands in every page's head."""

from functools import partial

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
# At the foot of every page, for whoever may do the act there.
MORE = (
    ("plan-sites", "Outages of all sites", "read"),
    ("deferrals", "Put off and opened outside outages", "read"),
    ("dispositions", "Dispositions", "read"),
    ("signatures", "Signatures", "read"),
    ("gauges", "Gauges", "read"),
    ("labels", "Labels", "read"),
    ("choices", "What the plant has chosen", "read"),
    ("limits-of-many", "Limits of many bearings", "set limits"),
    ("import-words", "Words of the sheets", "read"),
    ("backtest", "Backtest", "read"),
    ("proof", "Proof of the record", "audit"),
    ("sites", "Sites and their names", "people and sites"),
)


def navigation(request: HttpRequest) -> dict[str, object]:
    """The pages that exist, which one is open, and who looks at it."""
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {}
    pages = []
    # Who records finds the proof from the page of the record; for who only looks it is a page of its own.
    may_audit = may(user, "audit")
    audits = (("proof", "Proof"),) if may_audit and not may(user, "record") else ()
    governs = (("people", "People"),) if may(user, "people and sites") else ()
    may_record = may(user, "record")
    records = (("at-pump", "At the pump"),) if may_record else ()
    for name, label in (*records, *PAGES, *audits, *governs):
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        pages.append({"url": url, "label": label, "current": request.path == url})
    unread = user.notices.filter(read_at=None).order_by("at") if user.has_notices else ()
    return {
        "nav": pages,
        "more": [(reverse(name), label) for name, label, act in MORE if may(user, act)],
        "may_audit": may_audit,
        "may_record": may_record,
        "signed_in_as": partial(words_for, user),  # asked only by the pages whose head names them
        "find_text": request.GET.get("find", ""),
        "notices": list(unread),
    }
