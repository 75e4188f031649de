"""The scripts of the pages as modules: what one imports is there, and a device keeps what its page needs."""

import json
import re
from pathlib import Path
from urllib.parse import urljoin

import pytest
from django.core.management import call_command
from django.urls import reverse

from tests import makers
from tests.conftest import CHECKOUT

IMPORTED = re.compile(r"""\bimport\b[^;'"]*["']([^"']+)["']""")
DEPLOYED = {"staticfiles": {"BACKEND": "fleet.web.scripts.HashedFiles"}}


@pytest.fixture
def collected(settings, tmp_path) -> Path:
    """The static files as they are served in deployment, the drawing library apart."""
    settings.STORAGES = settings.STORAGES | DEPLOYED
    settings.STATIC_ROOT, settings.STATICFILES_DIRS = tmp_path, []
    call_command("collectstatic", interactive=False, verbosity=0)
    return tmp_path


def with_imports(root: Path, addresses: set[str]) -> set[str]:
    """Addresses of static files, and of what stands behind their imports."""
    found: set[str] = set()
    while left := addresses - found:
        found |= left
        texts = [(one, (root / one.removeprefix("/static/")).read_text("utf-8")) for one in left]
        addresses |= {urljoin(one, path) for one, text in texts for path in IMPORTED.findall(text)}
    return found


def test_every_import_of_a_served_script_is_a_served_file_under_its_hash(collected):
    served = set(json.loads((collected / "staticfiles.json").read_text())["paths"].values())
    scripts = {f"/static/{name}" for name in served if name.endswith(".js")}
    imported = with_imports(collected, scripts) - scripts
    assert imported == set()
    assert len(scripts) == len(list(CHECKOUT.glob("*/static/**/*.js")))


@pytest.mark.django_db
def test_a_device_keeps_what_the_page_without_network_needs_and_nothing_else(collected, client):
    client.force_login(makers.an_account(role="mechanic"))
    page = client.get(reverse("record-offline")).content.decode()
    linked = set(re.findall(r'<script [^>]*src="([^"]+)"', page))
    linked |= set(re.findall(r'<link [^>]*href="(/static/[^"]+)"', page))
    reader = client.get(reverse("contact-reader")).content.decode()
    worker = client.get(reverse("record-worker")).content.decode()
    kept = json.loads(re.search(r"begin\((.*)\);", worker)[1])["KEPT"]
    needed = with_imports(collected, {*linked, *IMPORTED.findall(reader)}) | {reverse("contact-reader")}
    assert sorted(kept) == sorted(needed)
    assert any("unsent_queue." in one for one in kept) and any("contact_library." in one for one in kept)
    (begun,) = IMPORTED.findall(worker)
    assert with_imports(collected, {begun}) > {begun}


def test_every_script_of_a_page_is_a_module_of_its_own():
    texts = [path.read_text("utf-8") for path in CHECKOUT.glob("*/templates/**/*.html")]
    tags = [tag for text in texts for tag in re.findall(r"<script\b[^>]*>", text)]
    assert len(tags) > 20 and not [tag for tag in tags if 'type="module"' not in tag]
