"""A table's cells as they stand on a narrow screen: each beside its heading."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.html import strip_tags
from django.utils.safestring import SafeString
from django_tables2.utils import AttributeDict

register = template.Library()


@register.simple_tag
def cell_attributes(column: Any) -> SafeString:
    """The attributes of a column's cell, with its heading as `data-label` unless the column names another."""
    attributes = {"data-label": " ".join(strip_tags(str(column.header)).split()), **column.attrs["td"]}
    return AttributeDict(attributes).as_html()
