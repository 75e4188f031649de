"""How the dates are worked out."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.clock import today_in
from fleet.measuring_methods import words_of
from inspections.story.uncertainty import spreads


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """The model in plain words, its assumptions, and what it cannot foresee."""
    measured = [(words_of(name), spread) for name, spread in spreads(today_in("UTC")).items()]
    return render(request, "inspections/method.html", {"spreads": measured})
