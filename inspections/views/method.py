"""How the dates are worked out."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.access import sites_for
from fleet.clock import today_in
from fleet.measuring_methods import words_of
from inspections.limits import plant_choices
from inspections.limits.passing_prices import prices, work_hours
from inspections.story.uncertainty import spreads


@require_safe
def method(request: HttpRequest) -> HttpResponse:
    """The model in plain words, its assumptions, and what it cannot foresee."""
    measured = [(words_of(name), spread) for name, spread in spreads(today_in("UTC")).items()]
    today, sites = today_in("UTC"), list(sites_for(request.user))
    context = {
        "spreads": measured,
        "chosen": [one for one in plant_choices.in_force(None, today) if one.choice.priced],
        "own": plant_choices.own_prices(sites, today),
        "prices": prices(sites, today),
        "work": work_hours(),
    }
    return render(request, "inspections/method.html", context)
