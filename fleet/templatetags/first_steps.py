"""The empty site's page: what a newcomer does first, with all it needs wherever it is shown."""

from __future__ import annotations

from typing import Any

from django import template
from django.urls import reverse

from fleet.forms import kinds_for
from fleet.importing.templates import template_sheets

register = template.Library()


@register.inclusion_tag("fleet/empty_site.html", takes_context=True)
def first_steps(context: Any) -> dict[str, Any]:
    """The steps, the button for whoever may bring a sheet, and the sheets to fill in."""
    may_bring = {holds for holds, _ in kinds_for(context["request"].user)}
    return {
        "import_url": reverse("import") if may_bring else "",
        "template_sheets": [one for one in template_sheets() if one.holds in may_bring],
    }
