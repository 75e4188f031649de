"""Pages that cost the site much (bundles, exports, sheets brought, dates and plans worked out anew): so many
to an account.
"""

import datetime as dt
from collections.abc import Callable
from functools import wraps
from typing import cast

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from fleet.clock import now
from fleet.models import Account, CostlyRequest

WINDOW = dt.timedelta(minutes=10)
View = Callable[..., HttpResponse]


def costly(*methods: str) -> Callable[[View], View]:
    """Answer 429 with when to ask again, once an account has asked so often; only these methods of a page
    count.

    Counted in the database, so that it holds over all processes of the site. Refused requests do not count:
    who waits as long as the page says is served.
    """

    def over(view: View) -> View:
        @wraps(view)
        def limited(request: HttpRequest, *args: object, **named: object) -> HttpResponse:
            method = "GET" if request.method == "HEAD" else request.method
            if method in methods and (wait := _seconds_to_wait(cast("Account", request.user))):
                context = {"most": settings.COSTLY_REQUESTS, "minutes": -(-wait // 60)}
                answer = render(request, "fleet/too_much_asked.html", context, status=429)
                answer["Retry-After"] = str(wait)
                return answer
            return view(request, *args, **named)

        limited.costly = methods  # type: ignore[attr-defined]
        return limited

    return over


def _seconds_to_wait(account: Account) -> int:
    """Note one request and answer 0, or how long until the next may be made."""
    instant = now()
    own = CostlyRequest.objects.filter(account=account)
    recent = list(
        own.filter(at__gt=instant - WINDOW)
        .order_by("-at")
        .values_list("at", flat=True)[: settings.COSTLY_REQUESTS]
    )
    if len(recent) >= settings.COSTLY_REQUESTS:
        return max(1, round((recent[-1] + WINDOW - instant).total_seconds()))
    own.filter(at__lte=instant - WINDOW).delete()
    CostlyRequest.objects.create(account=account, at=instant)
    return 0
