"""Headers that every answer carries beside Django's own."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse


class PrivatePages:
    """Pages of a signed-in person are kept in no cache, and no other site may embed what is served here."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]):
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cross-Origin-Resource-Policy", "same-origin")
        response.headers.setdefault("Cross-Origin-Embedder-Policy", "require-corp")
        if request.user.is_authenticated:
            response.headers.setdefault("Cache-Control", "no-store")
        return response
