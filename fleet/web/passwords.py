"""One-time passwords, and the rule that the first thing done with one is to change it."""

import secrets
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect

# No letter or digit that is read for another; read out over a telephone, five at a time.
ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
GROUPS, IN_A_GROUP = 4, 5
STILL_OPEN = frozenset({"change-password", "sign-in", "sign-out", "health"})


def one_time_password() -> str:
    """Twenty letters and digits by chance (99 bits), in four groups."""
    groups = ("".join(secrets.choice(ALPHABET) for _ in range(IN_A_GROUP)) for _ in range(GROUPS))
    return "-".join(groups)


class ChangePasswordFirst:
    """Who signed in with a one-time password sees one page only until a password of their own is set."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: object, *_: object) -> HttpResponseBase | None:
        must = request.user.is_authenticated and request.user.must_change_password
        here = request.resolver_match.url_name if request.resolver_match else None
        return redirect("change-password") if must and here not in STILL_OPEN else None
