"""Photos: kept as they came, shown without what the camera wrote, to nobody who may not see the bearing."""

import struct
import zlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fleet.models import Attachment
from fleet.plant.choices import set_setting
from inspections.records.openings import NotRecorded
from inspections.visits.photos import shown_copy
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin

pytestmark = pytest.mark.django_db


def a_jpeg() -> bytes:
    """Markers in the order cameras write them; the pixels themselves are never read here."""

    def part(marker: int, body: bytes) -> bytes:
        return bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body

    words = part(0xE1, b"Exif\x00\x00GPS 41.1 N 8.6 W") + part(0xFE, b"taken by T.")
    return (
        b"\xff\xd8"
        + part(0xE0, b"JFIF\x00")
        + words
        + part(0xDB, b"q" * 65)
        + part(0xDA, b"s")
        + b"pixels\xff\xd9"
    )


@pytest.mark.parametrize(("made", "kind"), [(a_jpeg, "image/jpeg"), (makers.a_png, "image/png")])
def test_the_shown_copy_has_no_place_and_no_words_and_all_of_the_picture(made, kind):
    shown, said = shown_copy(made())
    assert said == kind
    assert b"GPS" not in shown and b"taken by" not in shown and b"Well" not in shown
    assert (b"pixels" in shown) if kind == "image/jpeg" else (zlib.compress(b"\x00\x00") in shown)


@pytest.mark.parametrize("data", [b"GIF89a", b"<svg onload='x'>", a_jpeg()[:40], makers.a_png()[:50], b""])
def test_what_is_no_photo_or_cut_off_is_refused_with_a_sentence(data):
    with pytest.raises(NotRecorded):
        shown_copy(data)


def test_a_photo_is_kept_with_the_visit_and_shown_on_the_bearings_page_to_who_may_read():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(
        at(bearing, "photo/"),
        {"photo": SimpleUploadedFile("IMG.jpg", a_jpeg()), "note": "blue up the sides", "moment": "as found"},
    )
    row = Attachment.objects.select_related("file").get()
    assert bytes(row.file.data) == a_jpeg() and row.note == "As found: blue up the sides"
    page = client.get(at(bearing, "visit/")).content.decode()
    assert "<figcaption>As found: blue up the sides</figcaption>" in page
    page = client.get(f"/bearings/{bearing.place.tag}/{bearing.name}/").content.decode()
    assert (
        f"/photos/{row.pk}/" in page
        or f"/photos/{row.pk}/" in client.get(at(bearing, "visit/")).content.decode()
    )
    answer = client.get(f"/photos/{row.pk}/")
    assert answer["Content-Type"] == "image/jpeg" and b"GPS" not in answer.content
    stranger = a_mechanic(a_worn_bearing())
    assert stranger.get(f"/photos/{row.pk}/").status_code == 404


def test_a_photo_is_of_the_last_round_unless_said_otherwise():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = client.get(at(bearing, "photo/")).content.decode()
    assert page.index('value="as found"') < page.index('value="as left"') and "round 1" not in page
    client.post(at(bearing, "contact/"), {"drawn": "both_ends"})
    page = client.get(at(bearing, "photo/")).content.decode()
    assert page.index('<option value="round 1">Round 1</option>') < page.index('value="as found"')
    client.post(at(bearing, "photo/"), {"photo": SimpleUploadedFile("a.jpg", a_jpeg()), "moment": "round 1"})
    client.post(at(bearing, "photo/"), {"photo": SimpleUploadedFile("b.png", makers.a_png()), "moment": "x"})
    assert [row.note for row in Attachment.objects.order_by("entry_n")] == ["Round 1", ""]


def test_where_cameras_are_banned_there_is_no_photo_screen():
    bearing = a_worn_bearing()
    set_setting(name="photos_allowed", value=False, by=makers.somebody())
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert client.get(at(bearing, "photo/")).status_code == 404
    assert "photo/" not in client.get(at(bearing, "visit/")).content.decode()
