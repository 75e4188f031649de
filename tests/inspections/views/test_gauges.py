"""Gauges: checks with their due days, readings flagged and never refused, and what is in doubt after one was
found wrong.
"""

import datetime as dt
import io
import zipfile

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from fleet.models import Attachment, Calibration
from fleet.plant import calibration
from fleet.plant.acts import Refused
from fleet.plant.gauge_register import instrument_named
from inspections.forecasts.gauge_recall import recalls
from inspections.story.audit_trail import ledger_story
from tests import makers

D = dt.date


def a_gauge(label="G-7"):
    return instrument_named(label, method="bore_gauge", by=makers.somebody())


def check(gauge, on, **facts):
    return calibration.calibrate(instrument=gauge, on=on, by=makers.somebody(), **facts)


def measured(gauge, on, bearing=None):
    return makers.a_reading(
        bearing=bearing or makers.a_bearing(), on=on, instrument=gauge.label, value="0.150"
    )


def plain(on, fit=True, due=None):
    return Calibration(on=on, found_fit=fit, due_on=due)


@pytest.mark.parametrize(
    ("known", "on", "said"),
    [
        ([], D(2020, 1, 1), "not calibrated by then"),
        ([plain(D(2020, 1, 1))], D(2019, 12, 31), "not calibrated by then"),
        ([plain(D(2020, 1, 1))], D(2025, 1, 1), ""),
        ([plain(D(2020, 1, 1), due=D(2021, 1, 1))], D(2021, 1, 1), ""),
        ([plain(D(2020, 1, 1), due=D(2021, 1, 1))], D(2021, 1, 2), "calibration overdue since 1 Jan 2021"),
        ([plain(D(2020, 1, 1)), plain(D(2021, 1, 1), fit=False)], D(2020, 6, 1), "found wrong 1 Jan 2021"),
        ([plain(D(2020, 1, 1)), plain(D(2021, 1, 1), fit=False)], D(2021, 6, 1), "found wrong 1 Jan 2021"),
        ([plain(D(2020, 1, 1), fit=False), plain(D(2021, 1, 1))], D(2021, 6, 1), ""),
    ],
)
def test_what_speaks_against_a_gauge_on_a_day(known, on, said):
    assert calibration.doubt_on(known, on) == said


days = st.dates(D(2010, 1, 1), D(2020, 12, 31))


@given(st.lists(st.tuples(days, st.booleans()), min_size=1, max_size=8, unique_by=lambda one: one[0]), days)
def test_a_reading_between_a_good_check_and_the_next_wrong_one_is_always_in_doubt(rows, on):
    # ISO 9001:2015, 7.1.5.2: when a gauge is found unfit, whether earlier results were affected is to be
    # determined.
    known = [plain(day, fit) for day, fit in sorted(rows)]
    in_any = any(
        (since is None or since <= on) and on <= until
        for since, until in (calibration.in_doubt(known, one) for one in known if not one.found_fit)
    )
    strictly = in_any and on not in [one.on for one in known]
    assert not strictly or calibration.doubt_on(known, on).startswith("found wrong")


@pytest.mark.django_db
class TestRecorded:
    def test_a_check_sent_twice_is_stored_once(self):
        first = check(a_gauge(), D(2020, 1, 1), id=Calibration().pk)
        again = check(a_gauge(), D(2020, 1, 1), id=first.pk)
        assert again == first and Calibration.objects.count() == 1

    @pytest.mark.parametrize(
        ("facts", "said"),
        [
            ({"on": D(2999, 1, 1)}, "lies ahead"),
            ({"on": D(2020, 1, 1), "due_on": D(2019, 1, 1)}, "must come after"),
            ({"on": D(2020, 1, 1), "found_fit": False}, "what was found wrong"),
            (
                {"on": D(2020, 1, 1), "certificate": calibration.Certificate("a.pdf", b"MZ")},
                "no PDF, JPEG or PNG",
            ),
        ],
    )
    def test_what_cannot_be_is_refused_and_nothing_is_stored(self, facts, said):
        with pytest.raises(Refused, match=said):
            check(a_gauge(), **facts)
        assert not Calibration.objects.exists() and not Attachment.objects.exists()

    def test_a_reading_with_an_overdue_gauge_is_stored_and_flagged(self):
        gauge = a_gauge()
        check(gauge, D(2018, 1, 1), due_on=D(2019, 1, 1))
        reading = measured(gauge, D(2020, 3, 9))
        (line,) = [one for one in ledger_story(reading.bearing).lines if one.kind == "reading"]
        assert "gauge G-7 (calibration overdue since 1 Jan 2019)" in line.what

    def test_where_no_calibration_is_recorded_at_all_nothing_is_flagged(self):
        reading = measured(a_gauge(), D(2020, 3, 9))
        (line,) = [one for one in ledger_story(reading.bearing).lines if one.kind == "reading"]
        assert line.what.endswith(", gauge G-7")

    def test_a_gauge_found_wrong_lists_every_reading_since_its_last_good_check_and_no_other(self):
        gauge, other = a_gauge(), a_gauge("G-8")
        check(gauge, D(2015, 1, 1))
        check(gauge, D(2018, 1, 1))
        check(gauge, D(2020, 1, 1), found_fit=False, note="bent anvil")
        before = measured(gauge, D(2017, 5, 1))
        wanted = [measured(gauge, D(2018, 5, 1)), measured(gauge, D(2019, 5, 1))]
        after, elsewhere = measured(gauge, D(2020, 5, 1)), measured(other, D(2019, 5, 1))
        sites = [one.bearing.place.site for one in (before, after, elsewhere, *wanted)]
        (recall,) = recalls(gauge, sites)
        assert {line.reading for line in recall.affected} == {one.pk for one in wanted}
        assert (recall.since, recall.until, recall.n_bearings) == (D(2018, 1, 1), D(2020, 1, 1), 2)
        assert recalls(gauge, sites[:1])[0].affected == []

    def test_an_engineer_records_a_check_with_its_certificate_and_finds_the_readings_in_doubt(self, client):
        client.force_login(makers.an_account())
        gauge = a_gauge()
        reading = measured(gauge, D(2019, 5, 1))
        paper = SimpleUploadedFile("paper 1.pdf", b"%PDF-1.7 checked", "application/pdf")
        sent = {
            "id": Calibration().pk,
            "on": "2020-01-01",
            "found": "wrong",
            "note": "bent",
            "certificate": paper,
        }
        page = client.post(f"/gauges/{gauge.pk}/", sent, follow=True).content.decode()
        assert "In doubt: found wrong on 1 Jan 2020" in page.replace("\u00a0", " ")
        assert reading.bearing.place.tag in page and "paper 1.pdf" in page
        stored = Attachment.objects.get()
        answer = client.get(f"/gauges/certificate/{stored.pk}/")
        assert answer.content == b"%PDF-1.7 checked"
        assert (
            answer["Content-Disposition"].startswith("attachment")
            and "sandbox" in answer["Content-Security-Policy"]
        )
        sheet = client.get(f"/gauges/{gauge.pk}/in-doubt/{Calibration.objects.get().pk}.xlsx")
        assert "xl/worksheets/sheet1.xml" in zipfile.ZipFile(io.BytesIO(sheet.content)).namelist()

    def test_a_mechanic_sees_the_gauges_and_records_no_check(self, client):
        client.force_login(makers.an_account(role="mechanic"))
        gauge = a_gauge()
        assert "G-7" in client.get("/gauges/").content.decode()
        assert client.post(f"/gauges/{gauge.pk}/", {"on": "2020-01-01"}).status_code == 403
        assert client.post("/gauges/", {"label": "G-9"}).status_code == 403

    def test_the_lists_ask_as_much_for_twenty_gauges_as_for_two(self, client, django_assert_num_queries):
        client.force_login(makers.an_account())
        for number in range(2):
            check(a_gauge(f"A-{number}"), D(2020, 1, 1))
        with CaptureQueriesContext(
            connection,
        ) as few:
            client.get("/gauges/")
        for number in range(18):
            check(a_gauge(f"B-{number}"), D(2020, 1, 1))
        with django_assert_num_queries(len(few)):
            client.get("/gauges/")


@pytest.mark.django_db
def test_who_answers_for_one_site_does_not_declare_a_gauge_of_two_wrong(client):
    gauge, own, other = a_gauge(), makers.a_bearing(), makers.a_bearing()
    measured(gauge, D(2020, 3, 9), own)
    measured(gauge, D(2020, 3, 9), other)
    found = {"id": str(Calibration().pk), "on": "2021-01-01", "found": "wrong", "note": "bent anvil"}
    client.force_login(makers.an_account(role="foreman", site=own.place.site))
    page = client.post(f"/gauges/{gauge.pk}/", found, follow=True).content.decode()
    assert "Readings at another site were taken with this gauge too" in page
    assert other.place.site.name not in page and not Calibration.objects.exists()
    client.force_login(makers.an_account(role="engineer"))
    client.post(f"/gauges/{gauge.pk}/", found)
    assert Calibration.objects.get().found_fit is False
