"""The auditor's page of proof: seals carried out and held against the record, its check,
roles and accounts.
"""

import io
import json
import re
import socket
import threading
from email import message_from_bytes

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command

from fleet import background_jobs
from fleet.ledger.outside_seals import compared, read_paper, witnesses
from fleet.models import Limit, Seal
from fleet.plant import accounts, record_checks
from fleet.plant.calibration import calibrate
from fleet.plant.gauge_register import instrument_named
from fleet.plant.people import give_role
from tests import makers
from tests.fleet.ledger.story import guards_lifted

pytestmark = pytest.mark.django_db


@pytest.fixture
def auditor(client):
    account = makers.an_account(role="auditor", site=makers.a_site(name="North"), username="A. Udit")
    client.force_login(account)
    client.account = account
    return client


def _page(client, address="/proof/"):
    return " ".join(client.get(address).content.decode().replace("\u00a0", " ").split())


# Seals to carry out


def test_a_seal_is_made_and_taken_along_and_the_page_says_who_witnessed_it_last(auditor):
    makers.a_bearing()
    assert "Never witnessed" in _page(auditor)
    answer = auditor.post("/proof/seal/")
    assert "seal-1.json" in answer["Content-Disposition"]
    paper = read_paper(answer.content, "seal-1.json")
    assert paper.hash == Seal.objects.get().hash and compared("seal-1.json", paper) == []
    assert "Last witnessed: seal no. 1, downloaded by A. Udit on" in _page(auditor)
    (witness,) = witnesses()
    assert (witness.seal, witness.by) == (1, auditor.account.person_id)


def test_an_earlier_seal_is_given_out_again_as_it_was_and_not_as_the_record_is_now(auditor):
    makers.a_bearing()
    first = auditor.post("/proof/seal/").content
    makers.a_reading()
    auditor.post("/proof/seal/")
    assert auditor.post("/proof/seal/", {"seal": "1"}).content == first
    assert Seal.objects.count() == 2
    assert auditor.post("/proof/seal/", {"seal": "77"}).status_code == 404


def test_whoever_may_not_audit_takes_no_seal(client):
    client.force_login(makers.an_account(role="mechanic"))
    for address in ("seal", "hold", "check"):
        assert client.post(f"/proof/{address}/").status_code == 403
    assert not Seal.objects.exists()


# Seals that come back


def _held(client, data, name="kept.json"):
    answer = client.post("/proof/hold/", {"seal": SimpleUploadedFile(name, data)}, follow=True)
    return answer.content.decode().replace("\u00a0", " ")


def test_a_seal_held_against_the_record_finds_what_was_taken_out_behind_it(auditor):
    bearing = makers.a_bearing()
    kept = auditor.post("/proof/seal/").content
    makers.a_reading(bearing=bearing)
    assert "The record still holds what was sealed" in _held(auditor, kept)
    assert f"{Seal.objects.get().sealed_at:%b %Y, %H:%M} UTC" in _held(auditor, kept)
    with guards_lifted():
        from fleet.models import Chain, Entry

        Limit.objects.filter(bearing=bearing).delete()
        Entry.objects.filter(chain=f"bearing:{bearing.pk}", n__gt=2).delete()
        Chain.objects.filter(id=f"bearing:{bearing.pk}").update(n=2)
    page = _held(auditor, kept)
    assert "The record is not what was sealed" in page
    assert f"bearing:{bearing.pk} no longer holds what was sealed" in page


@pytest.mark.parametrize(
    "data", [b"", b"{}", b"[1]", b'{"seal": "{}", "hash": "", "leaves": []}', b"\xff\x00"]
)
def test_what_is_no_seal_is_refused_in_a_sentence(auditor, data):
    assert "is no seal" in _held(auditor, data) or "No file was chosen" in _held(auditor, data)


def test_a_seal_with_one_leaf_altered_is_called_changed(auditor):
    makers.a_bearing()
    said = json.loads(auditor.post("/proof/seal/").content)
    said["leaves"][0]["n"] += 1
    assert "was changed since it was handed out" in _held(auditor, json.dumps(said).encode())


# Seals by mail


class Sink:
    """A mail server of one letter: takes it over, or refuses the data."""

    def __init__(self, refuses=False):
        self.refuses, self.letter, self.to = refuses, b"", []
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self):
        talk, _ = self.socket.accept()
        with talk, talk.makefile("rb") as lines:
            talk.sendall(b"220 sink\r\n")
            for line in lines:
                word = line.split(b":")[0].split()[0].upper()
                if word == b"RCPT":
                    self.to.append(re.search(rb"<(.*?)>", line)[1].decode())
                if word == b"DATA" and self.refuses:
                    talk.sendall(b"554 not taken\r\n")
                    continue
                if word == b"DATA":
                    talk.sendall(b"354 go on\r\n")
                    while (part := lines.readline()) != b".\r\n":
                        self.letter += part
                talk.sendall(b"221 bye\r\n" if word == b"QUIT" else b"250 ok\r\n")
                if word == b"QUIT":
                    return


@pytest.fixture
def mails(settings):
    def to(sink, *addresses):
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", sink.port
        settings.SEAL_MAIL_TO = list(addresses)
        return sink

    return to


def test_a_seal_goes_by_mail_to_the_addresses_of_the_plant_and_counts_as_witnessed(mails):
    makers.a_bearing()
    sink = mails(Sink(), "keeper@example.org", "second@example.org")
    out = io.StringIO()
    call_command("seal", mail=True, stdout=out)
    sink.thread.join(5)
    assert (
        sink.to == ["keeper@example.org", "second@example.org"]
        and "Sent to keeper@example.org" in out.getvalue()
    )
    letter = message_from_bytes(sink.letter)
    part = next(one for one in letter.walk() if one.get_filename() == "seal-1.json")
    paper = read_paper(part.get_payload(decode=True), "seal-1.json")
    assert paper.hash == Seal.objects.get().hash and compared("seal-1.json", paper) == []
    assert [(one.seal, one.how) for one in witnesses()] == [(1, "mailed")]


def test_a_seal_that_no_server_took_is_made_and_never_called_witnessed(mails):
    makers.a_bearing()
    mails(Sink(refuses=True), "keeper@example.org")
    with pytest.raises(CommandError, match="no mail server took it along") as refusal:
        call_command("seal", mail=True)
    assert refusal.value.returncode == 2
    assert Seal.objects.count() == 1 and witnesses() == []


def test_without_an_address_nothing_is_sealed_by_mail(settings):
    settings.SEAL_MAIL_TO = []
    with pytest.raises(CommandError, match="Set SEAL_MAIL_TO"):
        call_command("seal", mail=True)
    assert not Seal.objects.exists()


# The check


def test_the_check_of_the_record_is_asked_on_the_page_done_by_the_worker_and_its_result_stands_there(auditor):
    makers.a_reading()
    auditor.post("/proof/seal/")
    answer = auditor.post("/proof/check/")
    assert "A check was asked for" in _page(auditor)
    done = background_jobs.do_next()
    assert done.state == "done", done.said
    assert answer.url == f"/jobs/{done.pk}/" and done.address == "/proof/#check"
    page = _page(auditor)
    assert "nothing altered was found" in page and "Asked for by A. Udit" in page
    assert "Names of people" in page and "Not covered:" in page and "passwords" in page
    assert "no chain can show" in page


def test_a_record_that_was_altered_is_said_to_be_so_with_the_fault(auditor):
    bearing = makers.a_bearing()
    Limit.objects.filter(bearing=bearing, use="in_service_max").update(value_um=310)
    auditor.post("/proof/check/")
    assert "Altered: 1\u00a0fault." in background_jobs.do_next().said
    page = _page(auditor)
    assert "Altered: 1 fault." in page and "the row differs from its entry" in page
    assert record_checks.last_check().said["n_faults"] == 1


# Who may do what


def test_roles_given_and_ended_and_the_history_of_accounts_stand_there_for_the_auditors_own_sites(auditor):
    north, south = makers.a_site(name="North"), makers.a_site(name="South")
    own = makers.an_account(role="mechanic", site=north, username="M. Own")
    makers.an_account(role="mechanic", site=south, username="S. Other")
    give_role(person=own.person, role="foreman", site=north, by=makers.somebody())
    accounts.end_role(role=own.person.roles.get(role="mechanic"), reason="moved on", by=makers.somebody())
    accounts.shut(own, by=makers.somebody())
    page = _page(auditor, "/proof/who/")
    assert "mechanic, North" in page and "moved on" in page and "foreman, North" in page
    assert page.count("M. Own") >= 4 and "closed" in page and "opened" in page
    assert "S. Other" not in page and "South" not in page


def test_gauges_in_doubt_today_are_named_on_the_page(auditor):
    somebody = makers.somebody()
    gauge = instrument_named("G-7", method="bore_gauge", by=somebody)
    instrument_named("G-8", method="bore_gauge", by=somebody)
    calibrate(instrument=gauge, on=makers.THE_DAY, by=somebody, found_fit=False, note="bent")
    page = _page(auditor)
    assert "G-7</a> (found wrong 9 Mar 2020)" in page and "G-8</a> (not calibrated by then)." in page
