"""One bearing's bundle: complete, checked by its own checker with Python alone, and every alteration named."""

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

from fleet.models import Entry, ProposedLimit
from fleet.plant import confirmations
from fleet.plant.acts import withdraw
from fleet.plant.limits import set_limits
from inspections.bundle import verify
from inspections.limits import choices
from inspections.records.corrections import correct_reading
from tests import makers
from tests.printing import needs_pango

pytestmark = [pytest.mark.django_db, needs_pango]
LONGEST_CHECKER = 300


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


def test_the_bundle_is_sound_by_a_checker_that_needs_nothing_but_python(folder):
    code, words = checked(folder)
    assert code == 0, words
    assert "Sound." in words and "no chain can show" in words
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
    typed = [(row["typed"], row["changed"]) for row in rows(folder, "readings.csv")]
    assert ("0.155", "") in typed
    assert any(value == "0.150" and "typed wrong" in words for value, words in typed)


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


def test_nothing_of_another_bearing_is_in_it(bearing, tmp_path):
    other = makers.a_bearing(place=makers.a_place(site=bearing.place.site, tag="Neighbour"))
    makers.a_reading(bearing=other, value="0.199", unit="mm")
    out = tmp_path / "bundle"
    call_command("export_history", "Lift 1", "DE", out=out, stdout=io.StringIO())
    text = (out / "entries.jsonl").read_text("utf-8")
    assert f"bearing:{other.pk}" not in text and "0.199" not in text and "Neighbour" not in text


def reseal(folder):
    """What somebody does who changes a file and makes the list of files anew."""
    listed = {
        path.relative_to(folder).as_posix(): verify.sha256(path.read_bytes())
        for path in folder.rglob("*")
        if path.is_file() and path.name != "files.json"
    }
    (folder / "files.json").write_text(json.dumps(listed))


def change(path, before, after):
    text = path.read_text("utf-8")
    assert before in text
    path.write_text(text.replace(before, after, 1), "utf-8")


@pytest.mark.parametrize(
    ("name", "before", "after", "said"),
    [
        ("readings.csv", "0.165", "0.145", "typed says '0.145', its entry '0.165'"),
        ("limits.csv", "300.0000", "330.0000", "value_um says '330.0000'"),
        ("entries.jsonl", "0.165", "0.145", "its text does not give its hash"),
        ("story.csv", ",2,", ",999,", "its entry is not in the bundle"),
        ("forecast.json", "Own site", "Own sight", "no entry relies on these figures"),
        ("seal.json", '"index":', '"index":9', "not under the seal's root"),
    ],
)
def test_a_changed_figure_is_named_even_when_the_list_of_files_is_made_anew(
    folder, name, before, after, said
):
    change(folder / name, before, after)
    reseal(folder)
    code, words = checked(folder)
    assert (code, said in words) == (1, True), words


def test_a_changed_photo_a_file_put_in_and_a_file_taken_away_are_named(folder):
    (photo,) = (folder / "attachments").iterdir()
    photo.write_bytes(photo.read_bytes() + b"!")
    (folder / "extra.txt").write_text("put in")
    (folder / "people.csv").unlink()
    code, words = checked(folder)
    assert code == 1
    for said in (
        "not the file that an entry names",
        "extra.txt: it is not listed",
        "people.csv: it is listed and not there",
    ):
        assert said in words


def test_an_entry_taken_out_of_the_middle_and_the_tail_are_named(folder):
    path = folder / "entries.jsonl"
    lines = path.read_text("utf-8").splitlines()
    for kept in (
        lines[:3] + lines[4:],
        [line for line in lines if '"kind\\":\\"forecast_relied_on' not in line],
    ):
        path.write_text("\n".join(kept) + "\n", "utf-8")
        reseal(folder)
        assert checked(folder)[0] == 1


def test_an_entry_quoted_from_another_chain_cannot_be_swapped(folder):
    path = folder / "entries.jsonl"
    out = []
    for line in path.read_text("utf-8").splitlines():
        row = json.loads(line)
        if row.get("quoted") and "G-7" in row["text"]:
            row["text"] = row["text"].replace("G-7", "G-8")
            row["hash"] = verify.sha256(row["text"])
        out.append(json.dumps(row))
    path.write_text("\n".join(out) + "\n", "utf-8")
    reseal(folder)
    code, words = checked(folder)
    assert code == 1 and "not those that were quoted" in words


def test_a_record_written_anew_as_a_whole_is_found_by_a_seal_kept_outside(folder, tmp_path, bearing):
    kept = tmp_path / "seal.json"
    call_command("seal", out=kept, stdout=io.StringIO())
    again = tmp_path / "again"
    call_command("export_history", "Lift 1", "DE", out=again, stdout=io.StringIO())
    assert checked(again, "--seal", kept)[0] == 0
    # The kept seal says other hashes than a record that was written anew would have.
    paper = json.loads(kept.read_text())
    for leaf in paper["leaves"]:
        if leaf["chain"] == f"bearing:{bearing.pk}":
            leaf["head"] = "f" * 64
    seal = json.loads(paper["seal"])
    seal["root"] = verify.tree_root([verify.leaf_hash(leaf) for leaf in paper["leaves"]]).hex()
    paper["seal"] = verify.canonical(seal)
    paper["hash"] = verify.sha256(paper["seal"])
    kept.write_text(json.dumps(paper))
    code, words = checked(again, "--seal", kept)
    assert code == 1 and "no longer holds what was sealed" in words


def test_what_cannot_be_read_is_not_called_altered(folder, tmp_path):
    (folder / "seal.json").write_text("{")
    reseal(folder)
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
    assert "Take the bundle along" in client.get("/bearings/Lift 1/DE/history/").content.decode()
    answer = client.post("/bearings/Lift 1/DE/bundle/")
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
    choices.choose(name="second_person", typed="yes", site=site, from_on=None, by=makers.somebody())
    for value, document in ((310, "book 4"), (330, "book 5")):
        limits = {"in_service_max": Decimal(value)}
        set_limits([bearing], limits, authority="plant", document=document, by=one)
    first, second = ProposedLimit.objects.order_by("document")
    confirmations.answer_limits([first], agreed=True, by=other)
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
