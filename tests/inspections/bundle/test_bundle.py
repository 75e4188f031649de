"""One bearing's bundle: complete, checked by its own checker with Python alone, and every
alteration named.
"""

import ast
import csv
import io
import json
import random
import re
import shutil
import subprocess
import sys
import zipfile
import zlib
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fleet.models import Entry, ProposedLimit, Seal
from fleet.plant import second_person
from fleet.plant.accounts import end_role
from fleet.plant.acts import withdraw
from fleet.plant.limits import set_limits
from fleet.plant.people import give_role
from inspections.bundle import archive, report, verify
from inspections.limits import plant_choices
from inspections.records.corrections import correct_reading
from tests import makers

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("pango")]
LONGEST_CHECKER = 450


@pytest.fixture
def bearing():
    """A bearing with a corrected reading, a photo, a scrape and a gauge."""
    one = makers.a_bearing(place=makers.a_place(site=makers.a_site(name="Own site"), tag="Lift 1"))
    first = makers.a_reading(bearing=one, value="0.150", unit="mm", method="bore_gauge", instrument="G-7")
    makers.a_reading(bearing=one, value="0.165", unit="mm", stage="as_left")
    correct_reading(reading=first, by=makers.somebody(), reason="typed wrong", value="0.155")
    makers.an_event(bearing=one, kind="scrape")
    makers.a_photo(bearing=one)
    return one


@pytest.fixture
def folder(bearing, tmp_path):
    out = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    return out


def rows(folder, name):
    return list(csv.DictReader(io.StringIO((folder / name).read_text("utf-8"))))


def checked(folder, *more):
    """Exit code and words of the checker in a process of its own that sees nothing of the site."""
    done = subprocess.run(
        [sys.executable, "-I", str(folder / "verify.py"), *map(str, more)],
        capture_output=True,
        text=True,
        cwd="/",
        check=False,
    )
    return done.returncode, done.stdout


def test_without_a_seal_kept_outside_the_bundle_is_called_consistent_with_itself_and_never_sound(folder):
    code, words = checked(folder)
    assert code == 0, words
    assert "consistent with itself, which anyone who can write could make so" in words
    assert "Sound" not in words and "no chain can show" in words
    assert len((folder / "verify.py").read_text("utf-8").splitlines()) <= LONGEST_CHECKER


def test_the_checker_imports_only_pythons_own_library():
    tree = ast.parse(Path(verify.__file__).read_text("utf-8"))
    names = {
        alias.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for alias in node.names
    }
    names |= {
        (node.module or "").split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)
    }
    assert names <= set(sys.stdlib_module_names)


def test_both_versions_of_a_corrected_reading_stand_in_it(folder):
    by_value = {row["typed"]: row for row in rows(folder, "readings.csv")}
    wrong, right = by_value["0.150"], by_value["0.155"]
    assert (wrong["changed"], wrong["changed_because"], right["changed"]) == ("withdrawn", "typed wrong", "")
    assert wrong["replaced_by"] == f"{right['chain']} {right['entry']}"
    assert right["replaces"] == f"{wrong['chain']} {wrong['entry']}"


def test_the_roles_of_whoever_recorded_are_in_it_given_and_ended(bearing, tmp_path):
    site, who = bearing.place.site, makers.a_person(name="R. Ole")
    role = give_role(person=who, role="mechanic", site=site, by=makers.somebody())
    makers.a_reading(bearing=bearing, value="0.166", unit="mm", by=who.pk)
    end_role(role=role, reason="moved on", by=makers.somebody())
    out = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    code, words = checked(out)
    assert code == 0, words
    told = next(row for row in rows(out, "story.csv") if "typed 0.166 mm" in row["what"])
    assert told["roles"] == "mechanic at Own site" and "record" in told["rights"].split(", ")
    entries = [json.loads(line)["text"] for line in (out / "entries.jsonl").read_text().splitlines()]
    about_role = [json.loads(text)["kind"] for text in entries if str(role.pk) in text]
    assert sorted(about_role) == ["role", "withdrawal"]
    by_value = {row["typed"]: row for row in rows(out, "readings.csv")}
    assert by_value["0.166"]["uncertainty_um"]
    replaced = [row for row in rows(out, "story.csv") if row["replaces"]]
    assert len(replaced) == 1 and "typed 0.150 mm" in replaced[0]["replaces"]


def test_it_holds_the_photo_as_it_came_and_the_gauge_that_was_used(folder):
    (photo,) = (folder / "attachments").iterdir()
    assert photo.read_bytes() == makers.a_png()
    kinds = {
        json.loads(json.loads(line)["text"])["kind"]
        for line in (folder / "entries.jsonl").read_text().splitlines()
    }
    assert {
        "instrument",
        "site",
        "place",
        "reading",
        "withdrawal",
        "attachment",
        "forecast_relied_on",
    } <= kinds


def test_the_report_is_a_pdf_that_names_the_bearing_in_its_title(folder):
    data = (folder / "report.pdf").read_bytes()
    assert data.startswith(b"%PDF-")
    # The document's information stands in one of its compressed streams.
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)
    words = b"".join(zlib.decompress(one) for one in streams if one[:1] == b"x")
    assert b"Lift 1, DE" in words


def test_the_report_names_the_checkers_hash_and_the_seal_before_it(bearing, monkeypatch):
    call_command("seal", stdout=io.StringIO())
    monkeypatch.setattr(report, "pdf_of", str.encode)
    html = archive.make(bearing, by=makers.somebody())["report.pdf"].decode()
    assert archive.checker_hash() in html and Seal.objects.order_by("n").first().root in html
    assert "consistent with itself" in html


def test_nothing_of_another_bearing_is_in_it(bearing, tmp_path):
    other = makers.a_bearing(place=makers.a_place(site=bearing.place.site, tag="Neighbour"))
    makers.a_reading(bearing=other, value="0.199", unit="mm")
    out = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    text = (out / "entries.jsonl").read_text("utf-8")
    assert f"bearing:{other.pk}" not in text and "0.199" not in text and "Neighbour" not in text


def test_what_cannot_be_read_is_not_called_altered(folder, tmp_path):
    (folder / "seal.json").write_text("{")
    assert checked(folder)[0] == 2
    assert checked(tmp_path / "nowhere")[0] == 2


def test_random_changes_of_any_byte_never_pass(folder, tmp_path):
    rng = random.Random(8)
    names = [path for path in folder.rglob("*") if path.is_file() and path.name != "files.json"]
    for number in range(60):
        path = rng.choice(names)
        data = bytearray(path.read_bytes())
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        copy = tmp_path / f"copy {number}"
        shutil.copytree(folder, copy)
        (copy / path.relative_to(folder)).write_bytes(bytes(data))
        assert verify.main([str(copy)]) in (1, 2)


def test_making_it_is_recorded_and_sealed(folder, bearing):
    last = Entry.objects.filter(chain=f"bearing:{bearing.pk}").order_by("-n").first()
    assert last.kind == "forecast_relied_on"
    leaves = json.loads((folder / "seal.json").read_text())["leaves"]
    assert leaves[0]["leaf"] == {"chain": last.chain, "n": last.n, "head": last.hash}


def test_an_auditor_takes_it_from_the_history_page_and_a_reader_may_not(client, bearing):
    site = bearing.place.site
    client.force_login(makers.an_account(role="auditor", site=site))
    page = client.get("/bearings/Lift 1/DE/history/").content.decode()
    assert "Take the bundle along" in page
    answer = client.post("/bearings/Lift 1/DE/bundle/")
    held = zipfile.ZipFile(io.BytesIO(answer.content)).read("Lift-1-DE/verify.py")
    assert verify.sha256(held) in page
    names = zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
    assert "Lift-1-DE/verify.py" in names and "Lift-1-DE/report.pdf" in names
    client.force_login(makers.an_account(role="reader", site=site))
    assert "Take the bundle along" not in client.get("/bearings/Lift 1/DE/history/").content.decode()
    assert client.post("/bearings/Lift 1/DE/bundle/").status_code == 403


def test_the_command_refuses_a_bearing_nobody_knows_one_at_two_sites_and_a_folder_in_use(bearing, tmp_path):
    out = tmp_path / "out"
    with pytest.raises(CommandError, match="No bearing is called Lift 9 DE"):
        call_command("export_history", "Lift 9", "DE", out=out)
    makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    with pytest.raises(CommandError, match="Name one with --site"):
        call_command("export_history", "Lift 1", "DE", out=out)
    out.mkdir()
    (out / "mine.txt").write_text("keep me")
    with pytest.raises(CommandError, match="not empty"):
        call_command("export_history", "Lift 1", "DE", out=out, site="Own site")
    assert [path.name for path in out.iterdir()] == ["mine.txt"]


def test_proposed_confirmed_and_taken_back_limits_are_in_a_sound_bundle(tmp_path):
    site = makers.a_site()
    one, other = (makers.an_account(site=site, username=name).person_id for name in ("A. One", "B. Other"))
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1"), limits={})
    plant_choices.choose(name="second_person", typed="yes", site=site, from_on=None, by=makers.somebody())
    for value, document in ((310, "book 4"), (330, "book 5")):
        limits = {"in_service_max": Decimal(value)}
        set_limits([bearing], limits, authority="plant", document=document, by=one)
    first, second = ProposedLimit.objects.order_by("document")
    second_person.answer_limits([first], agreed=True, by=other)
    withdraw(second, reason="wrong pump", by=one)
    makers.a_reading(bearing=bearing)
    out = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    assert checked(out)[0] == 0
    said = [json.loads(line) for line in (out / "entries.jsonl").read_text("utf-8").splitlines()]
    text = json.dumps(said)
    assert all(words in text for words in ("book 4", "book 5", "wrong pump"))
    assert text.count("proposed_limit") >= 2 and "confirmation" in text
    limits = (out / "limits.csv").read_text("utf-8")
    assert "book 4" in limits and "book 5" not in limits
