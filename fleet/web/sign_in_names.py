"""One name, one count: a sign-in name is counted as the sign-in reads it, whatever its letters' size, width
or spaces.
"""

import unicodedata
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest


def counted_name(request: HttpRequest | None, credentials: Mapping[str, Any] | None = None) -> str:
    """The name that wrong passwords are counted under: what a database may take for one name is one here.

    Large letters first: PostgreSQL compares these, and makes `I` of a dotless `\u0131` too.

    Examples
    --------
    >>> counted_name(None, {"username": " OHR "})
    'ohr'
    """
    given = credentials or (request.POST if request is not None else {})
    name = unicodedata.normalize("NFKC", str(given.get("username") or ""))
    return " ".join(name.upper().casefold().split())
