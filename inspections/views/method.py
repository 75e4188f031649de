"""How the dates are worked out."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.clock import today_in
from inspections.models import Method
from inspections.story.uncertainty import spreads


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """The model in plain words, its assumptions, and what it cannot foresee."""
    words = dict(Method.choices)
    measured = [(words.get(name, name), spread) for name, spread in spreads(today_in("UTC")).items()]
    return render(request, "inspections/method.html", {"spreads": measured})
