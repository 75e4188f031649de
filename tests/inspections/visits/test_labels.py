"""Labels to print: what a camera reads leads to the bearing, also after it was renamed."""

import re

import pytest

from fleet.drawing import QUIET, qr_drawing
from fleet.plant.renaming import rename
from tests import makers

pytestmark = pytest.mark.django_db


def test_each_bearing_of_a_pump_has_a_label_that_names_it_and_leads_to_it(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    page = client.get(f"/labels/?site={bearing.place.site.name}&pump=Lift 1").content.decode()
    reader = makers.an_account(role="reader", site=bearing.place.site)
    address = re.search(rf"QR code of (http://testserver(/b/{bearing.pk}/))", page)
    assert address and page.count('class="qr"') == 2
    assert client.get(address[2])["Location"].startswith("/bearings/Lift%201/DE/record/")
    client.force_login(reader)
    assert client.get(address[2])["Location"].startswith("/bearings/Lift%201/DE/?")


def test_an_old_label_leads_on_after_the_pump_was_renamed(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    rename(bearing.place, name="Lift 7", from_on=None, reason="renumbered", by=makers.somebody())
    assert client.get(f"/b/{bearing.pk}/")["Location"].startswith("/bearings/Lift%207/DE/")


def test_the_drawing_is_the_code_module_for_module_with_its_quiet_zone():
    import segno

    address = "http://example.test/b/1/"
    drawn = {
        (int(i) - QUIET, int(k) - QUIET)
        for k, i in re.findall(r"M(\d+) (\d+)h1v1h-1z", qr_drawing(address, address))
    }
    matrix = segno.make(address, error="q", micro=False).matrix
    assert drawn == {(i, k) for i, row in enumerate(matrix) for k, dark in enumerate(row) if dark}
    assert f'viewBox="0 0 {len(matrix) + 8} {len(matrix) + 8}"' in qr_drawing(address, address)
