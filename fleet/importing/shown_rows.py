"""By what the last page before storing is known again: a keyed digest of every row to be
stored or set aside.
"""

from collections.abc import Iterator, Mapping, Sequence

from django.utils.crypto import salted_hmac

from fleet.importing.directory import Directory
from fleet.importing.parsed_rows import ParsedRow

NOT_SHOWN = "not_shown"  # the code of the fault
_SALT = "rows on the last page before storing"
_WORKING = frozenset({"_site", "_stored"})  # what the checks keep beside a row, no part of what it says


def digest_of_rows(
    kept: Sequence[ParsedRow], aside: Sequence[ParsedRow], directory: Directory, reason: str
) -> str:
    """The digest of what would become of the rows.

    Parameters
    ----------
    kept, aside : sequence of ParsedRow
        to be stored and to be set aside, after all answers.
    reason : str
        with which rows that are still asked about are set aside.

    Returns
    -------
    str
        64 hexadecimal digits, the same for the same rows at the same bearings; no other key than the site's
        makes it.
    """
    digest = salted_hmac(_SALT, reason, algorithm="sha256")
    # Names, for a pump to be made has a new id at each look.
    places = {
        str(place.pk): (place.site.name, place.tag) for some in directory.places.values() for place in some
    }
    for what, rows in (("kept", kept), ("aside", aside)):
        for row in rows:
            pump = places.get(row.content.get("pump", ""), ("", ""))
            bearing = directory.name_of(row.bearing) if row.bearing else ""
            words = (what, row.source.tab if row.source else row.tab, row.sheet_row, pump, bearing)
            digest.update(repr((words, sorted(_said(row.values)))).encode("utf-8", "replace"))
    return digest.hexdigest()


def _said(values: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    return ((name, repr(value)) for name, value in values.items() if name not in _WORKING)
