"""A session ends by itself: some hours after signing in whatever is done, and earlier
where nothing is done.
"""

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.http import HttpRequest, HttpResponse

from fleet.clock import now
from fleet.web import audit_log

SEEN = "seen_at"
# So often a page notes that somebody is there; more often would be a write for every look.
NOTED_EVERY = dt.timedelta(minutes=5)


class IdleSessionsEnd:
    """Signs out who did nothing for SESSION_IDLE_MINUTES. What a device queued without network is kept on the
    device.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.user.is_authenticated:
            self._look(request)
        return self.get_response(request)

    def _look(self, request: HttpRequest) -> None:
        instant = now()
        noted = request.session.get(SEEN)
        seen = dt.datetime.fromisoformat(noted) if noted else instant
        if instant - seen > dt.timedelta(minutes=settings.SESSION_IDLE_MINUTES):
            audit_log.say("session ended, nothing was done", request)
            logout(request)
        elif noted is None or instant - seen > NOTED_EVERY:
            request.session[SEEN] = instant.isoformat()


def note_the_start(request: HttpRequest, **_: Any) -> None:
    """Note when somebody signed in."""
    request.session[SEEN] = now().isoformat()
