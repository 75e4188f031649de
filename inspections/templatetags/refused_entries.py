"""What devices sent for a pump and the site did not take: in words on the pump's page, until somebody settles it."""

from typing import Any

from django import template

from fleet.models import Place
from inspections.receipts import unsettled_at

register = template.Library()


@register.inclusion_tag("inspections/record_refused.html", takes_context=True)
def refused_entries(context: template.Context, place: Place) -> dict[str, Any]:
    """The refused entries of a pump's bearings, each with why and its two ways to be settled."""
    return {"refused": unsettled_at(place), "csrf_token": context.get("csrf_token")}
