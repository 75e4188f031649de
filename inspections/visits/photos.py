"""Photos of a visit: the file is kept as it came, and shown without what a camera wrote beside the picture
(place, owner).
"""

import datetime as dt
import hashlib
import re
import uuid
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.ledger.writing import Fact, write
from fleet.models import Attachment, Bearing, Setting, Site, StoredFile
from inspections.models import Visit
from inspections.records.openings import NotRecorded
from inspections.visits.acts import known_or_open

MOST_BYTES = 12_000_000
_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
# Segments of a JPEG that hold words about the picture: APP1 to APP15 but the colour profile (APP2 ICC) and
# Adobe's colour transform (APP14), and comments.
_DROPPED = {0xE1, *range(0xE3, 0xEE), 0xEF, 0xFE}
_MOMENT = re.compile(r"round [1-9][0-9]?|as found|as left")
_KEPT_CHUNKS = {
    b"IHDR",
    b"PLTE",
    b"IDAT",
    b"IEND",
    b"tRNS",
    b"gAMA",
    b"cHRM",
    b"sRGB",
    b"iCCP",
    b"pHYs",
    b"sBIT",
}


def keep_photo(
    *,
    visit: Visit,
    bearing: Bearing,
    data: bytes,
    name: str,
    by: UUID,
    note: str = "",
    id: UUID | None = None,
    late: bool = False,
) -> Attachment:
    """Keep a photo with a visit; JPEG and PNG, at most 12 MB.

    Raises
    ------
    NotRecorded
        for a file that is neither, or too large.
    """
    if known := known_or_open(Attachment, id, by, visit, late):
        return known
    if len(data) > MOST_BYTES:
        raise NotRecorded(
            f"The photo has {len(data) // 1_000_000} MB; at most 12 MB are kept. Take it smaller."
        )
    shown_copy(data)
    digest = hashlib.sha256(data).hexdigest()
    with transaction.atomic():
        StoredFile.objects.get_or_create(sha256=digest, defaults={"size": len(data), "data": data})
        row = Attachment(
            id=id or uuid.uuid4(),
            file_id=digest,
            name=name[-200:] or "photo",
            about=visit.pk,
            note=note[:500],
        )
        write([Fact(f"bearing:{bearing.pk}", "attachment", row)], by=by)
    return Attachment.objects.get(pk=row.pk)


def moments(n_rounds: int, worked: bool) -> list[str]:
    """What a photo of a visit may be of, the likeliest first: its last print, as left after work, as found.

    >>> moments(2, worked=True), moments(0, worked=False)
    (['round 2', 'round 1', 'as left', 'as found'], ['as found', 'as left'])
    """
    rounds = [f"round {n}" for n in range(n_rounds, 0, -1)]
    return rounds + (["as left", "as found"] if worked else ["as found", "as left"])


def caption(moment: str, note: str) -> str:
    """The caption of a photo: what it is of, then what it shows; a moment that is none is left out.

    >>> caption("round 2", " blue up the sides "), caption("as found", ""), caption("yesterday", "crack")
    ('Round 2: blue up the sides', 'As found', 'crack')
    """
    of = moment.capitalize() if _MOMENT.fullmatch(moment) else ""
    return ": ".join(part for part in (of, " ".join(note.split())) if part)


def allowed_at(site: Site, day: dt.date, settings: Any = Setting.objects) -> bool:
    """Plants that forbid cameras say so by the setting `photos_allowed`."""
    return settings.in_force("photos_allowed", site, day) is not False


def photos_of(bearing: Bearing, visit: Visit | None = None) -> list[Attachment]:
    """The photos of a bearing's visits, or of one."""
    rows = Attachment.objects.standing().filter(chain=f"bearing:{bearing.pk}")
    rows = rows.filter(about=visit.pk) if visit else rows
    return list(rows.order_by("entry_n").defer("file__data"))


def shown_copy(data: bytes) -> tuple[bytes, str]:
    """The picture without words about it, and its content type.

    Raises
    ------
    NotRecorded
        for a file that is no JPEG or PNG, or is cut off.
    """
    try:
        if data.startswith(_JPEG):
            return _bare_jpeg(data), "image/jpeg"
        if data.startswith(_PNG):
            return _bare_png(data), "image/png"
    except (IndexError, ValueError):
        raise NotRecorded("The photo is cut off. Take it again.") from None
    raise NotRecorded("The file is no JPEG or PNG photo. Send the picture as the camera wrote it.")


def _bare_jpeg(data: bytes) -> bytes:
    kept, at = [data[:2]], 2
    while True:
        if data[at] != 0xFF:
            raise ValueError("no marker where one is due")
        marker = data[at + 1]
        if marker == 0xDA:  # the picture itself, to the end
            return b"".join([*kept, data[at:]])
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if end <= at + 3 or end > len(data):
            raise ValueError("a segment runs past the end")
        if marker not in _DROPPED:
            kept.append(data[at:end])
        at = end


def _bare_png(data: bytes) -> bytes:
    kept, at = [data[:8]], 8
    while True:
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        kind = data[at + 4 : at + 8]
        if end > len(data) or len(kind) < 4:
            raise ValueError("a chunk runs past the end")
        if kind in _KEPT_CHUNKS:
            kept.append(data[at:end])
        if kind == b"IEND":
            return b"".join(kept)
        at = end
