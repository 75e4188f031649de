"""The rule that who must have a second factor sets it up before anything else."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect

from fleet.web.passwords import STILL_OPEN


class SecondFactorFirst:
    """Who must have a second factor and has none sees one page only until it is set up.

    What a device queued without network waits on the device until then, for no answer of this rule is a
    receipt.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: object, *_: object) -> HttpResponseBase | None:
        user = request.user
        must = user.is_authenticated and user.must_have_code and not user.code_salt
        here = request.resolver_match.url_name if request.resolver_match else None
        return redirect("second-factor") if must and here not in STILL_OPEN | {"second-factor"} else None
