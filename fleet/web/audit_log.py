"""The audit log: who signed in, who could not, and what was refused; one line of JSON each, in UTC.

Not the record: that is the ledger. Passwords, tokens and figures never stand here. A line break in what a
browser sent is escaped by JSON itself, so nobody writes lines of their own.
"""

import json
import logging
from collections.abc import Callable
from ipaddress import ip_address
from typing import Any

from django.conf import settings
from django.contrib.auth.signals import user_logged_in, user_logged_out, user_login_failed
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from fleet.clock import now
from fleet.models import Account

log = logging.getLogger("fleet.web.audit_log")
LONGEST = 200


def say(what: str, request: HttpRequest | None = None, **more: Any) -> None:
    """Write one line: what happened, when, by which sign-in, from which address, at which page."""
    line: dict[str, Any] = {"at": now().isoformat(timespec="milliseconds"), "what": what}
    if request is not None:
        user = getattr(request, "user", None)
        line |= {
            "account": str(user.pk) if user is not None and user.is_authenticated else None,
            "address": address_of(request),
            "method": request.method,
            "page": request.path[:LONGEST],
        }
    log.info(json.dumps(line | {name: str(value)[:LONGEST] for name, value in more.items()}))


class Refusals:
    """Notes every answer that refused somebody: a missing role, a missing token, too many tries."""

    REFUSED = {403: "refused", 429: "refused, too many tries"}

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code in self.REFUSED:
            say(self.REFUSED[response.status_code], request, reason=getattr(request, "refused_because", ""))
        elif response.status_code >= 500:
            say("failed", request)
        return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> None:
        if isinstance(exception, PermissionDenied):
            request.refused_because = str(exception)  # type: ignore[attr-defined]


def address_of(request: HttpRequest) -> str:
    """Where a request came from, as the server saw it, or the outermost of the plant's own proxies
    (`PROXIES`).

    What a browser itself claims in the header stands before what the proxies added, and is not believed.
    """
    seen = str(request.META.get("REMOTE_ADDR", ""))
    forwarded = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")]
    if not settings.PROXIES or len(forwarded) < settings.PROXIES:
        return seen
    try:
        return str(ip_address(forwarded[-settings.PROXIES]))
    except ValueError:
        return seen


def _signed_in(request: HttpRequest, user: Account, **_: Any) -> None:
    say("signed in", request, person=user.person_id)


def _signed_out(request: HttpRequest, user: Account | None, **_: Any) -> None:
    if user is not None:
        say("signed out", request, person=user.person_id)


def _failed(credentials: dict[str, Any], request: HttpRequest | None = None, **_: Any) -> None:
    say("sign-in failed", request, name=credentials.get("username", ""))


def listen() -> None:
    """Connect to Django's own signals of signing in; called once by the app."""
    user_logged_in.connect(_signed_in, dispatch_uid="audit in")
    user_logged_out.connect(_signed_out, dispatch_uid="audit out")
    user_login_failed.connect(_failed, dispatch_uid="audit failed")
