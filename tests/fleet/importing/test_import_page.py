"""Bringing a sheet through the page: faults at once, stored and led on, and nobody beyond their sites."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.models import Outage, Sheet, Site, StoredFile
from fleet.plant.people import add_account, add_person, give_role
from fleet.plant.register import NewPlace, register_places, register_site

pytestmark = [pytest.mark.django_db, pytest.mark.everyday]
REGISTER = "site,pump,position,speed_rpm\nAsh Ferry,P-1,DE,1480\n"
OUTAGES = "site,name,start,end,pumps\nAsh Ferry,spring,2027-04-01,2027-04-09,{pumps}\n"


@pytest.fixture
def boss():
    return add_person(name="Keeper of accounts")


@pytest.fixture
def signed_in(client, boss):
    def sign_in(role, site=None):
        person = add_person(name=f"One {role} {site or ''}", by=boss.id)
        give_role(person=person, role=role, site=site, by=boss.id)
        account = add_account(
            person=person,
            username=f"{role}{person.id}",
            password="x",
            check=False,
            must_change_password=False,
        )
        client.force_login(account)
        return client

    return sign_in


def post(client, kind, words, name="sheet.csv", **more):
    file = SimpleUploadedFile(name, words.encode())
    return client.post(reverse("import"), {"kind": kind, "file": file, "decimal": "point"} | more)


def text_of(answer):
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def test_a_stored_sheet_leads_to_a_page_with_its_counts(signed_in):
    client = signed_in("engineer")
    answer = post(client, "register", REGISTER)
    sheet = Sheet.objects.get()
    assert answer.status_code == 302 and answer.url == reverse("import-done", args=[sheet.id])
    page = client.get(answer.url)
    assert "1 row seen: 1 stored , 0 set aside, 0 already there, 0 blank" in text_of(page)
    assert "New sites: Ash Ferry." in text_of(page)
    assert "sheet.csv" in text_of(client.get(reverse("import")))


def test_all_faults_are_listed_above_the_title_and_in_groups_and_nothing_is_stored(signed_in):
    client = signed_in("engineer")
    words = "site,pump,position,speed_rpm,seat\nAsh Ferry,,DE,fast,square\nAsh Ferry,P-1,DE,quick,\n"
    answer = post(client, "register", words)
    body = answer.content.decode().replace("\u00a0", " ")
    assert answer.status_code == 200 and "<title>Error: Sheets" in re.sub(r"\s+", " ", body)
    assert body.index("Put this right first") < body.index("<h1>")
    assert '<a href="#fault-number">2 faults: no number</a>' in body and 'id="fault-number"' in body
    said = text_of(answer)
    assert "4 faults; nothing was stored" in said
    for place in (
        "row 2, column pump",
        "row 2, column speed_rpm",
        "row 2, column seat",
        "row 3, column speed_rpm",
    ):
        assert place in said
    assert not Sheet.objects.exists() and not StoredFile.objects.exists()


def test_what_was_declared_stays_in_the_form_after_a_refusal(signed_in):
    body = post(signed_in("engineer"), "register", "pump\nP-1\n", date_format="DD/MM/YYYY").content.decode()
    assert 'value="DD/MM/YYYY"' in body and '<option value="register" selected>' in body


def test_markup_in_a_cell_stays_text(signed_in):
    words = "site,pump,position,seat\nAsh Ferry,P-1,DE,<script>alert(1)</script>\n"
    assert b"<script>alert" not in post(signed_in("engineer"), "register", words).content


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"kind": ""}, "Choose what the sheet holds."),
        ({"file": ""}, "Choose the file to bring."),
        ({"date_format": "day first"}, "a date format such as DD/MM/YYYY"),
    ],
)
def test_a_form_that_lacks_something_says_so_twice_and_leads_to_the_field(signed_in, more, said):
    field, more = next(iter(more)), dict(more)
    answer = post(signed_in("engineer"), more.pop("kind", "register"), REGISTER, **more)
    assert text_of(answer).count(said) == 2 and f'href="#id_{field}"' in answer.content.decode()
    assert not Site.objects.exists()


def test_open_questions_can_be_set_aside_with_a_reason_and_are_shown_afterwards(signed_in, boss):
    site = register_site(name="Ash Ferry", by=boss.id)
    register_places([NewPlace(site, "P-101A")], by=boss.id)
    client = signed_in("planner", site)
    words = OUTAGES.format(pumps="P101A") + "Ash Ferry,autumn,2027-10-01,2027-10-09,\n"
    asked = text_of(post(client, "outages", words))
    assert "1 open question; nothing was stored" in asked and "perhaps &#x27;P-101A&#x27; is meant" in asked
    answer = post(client, "outages", words, set_aside="wait for the new numbering")
    done = text_of(client.get(answer.url))
    assert "2 rows seen: 1 stored , 1 set aside" in done and "wait for the new numbering" in done
    assert "perhaps &#x27;P-101A&#x27; is meant" in done
    assert [outage.name for outage in Outage.objects.all()] == ["autumn"]


def test_only_checking_stores_nothing(signed_in):
    answer = post(signed_in("engineer"), "register", REGISTER, only_check="on")
    assert "would be stored: 1 row seen = 1 stored" in text_of(answer) and not Sheet.objects.exists()


def test_a_planner_brings_plans_and_no_register(signed_in, boss):
    register_site(name="Ash Ferry", by=boss.id)
    client = signed_in("planner")
    assert post(client, "outages", OUTAGES.format(pumps="")).status_code == 302
    assert "Choose one of the kinds of sheet listed." in text_of(post(client, "register", REGISTER))


@pytest.mark.parametrize("role", ["mechanic", "reader", "auditor", "administrator"])
def test_who_may_not_bring_sheets_sees_no_form_and_is_refused(signed_in, role):
    client = signed_in(role)
    page = client.get(reverse("import"))
    assert page.status_code == 200 and b'type="file"' not in page.content
    assert post(client, "register", REGISTER).status_code == 403 and not Site.objects.exists()


def test_rows_of_another_site_are_refused_and_its_names_are_not_offered(signed_in, boss):
    ash = register_site(name="Ash Ferry", by=boss.id)
    beech = register_site(name="Beech Weir", by=boss.id)
    register_places([NewPlace(beech, "P-101A")], by=boss.id)
    client = signed_in("engineer", ash)
    words = "site,pump,position\nBeech Weir,P-101A,DE\nAsh Fery,P-2,DE\nAsh Ferry,P-3,DE\n"
    said = text_of(post(client, "register", words))
    assert "2 faults" in said and "row 2, column site" in said and "row 3, column site" in said
    outages = "site,name,start,end\nBeech Wier,spring,2027-04-01,2027-04-09\n"
    assert "Beech Weir" not in text_of(post(client, "outages", outages))
    assert "for the whole plant" in text_of(
        post(client, "work_hours", "class,open_hours,measure_hours,scrape_hours,replace_hours\n,1,1,1,1\n")
    )
    assert not Sheet.objects.exists()


@pytest.mark.parametrize("kind", ["history", "register", "outages"])
def test_a_pump_or_site_of_elsewhere_is_told_from_none_by_nothing(signed_in, boss, kind):
    ash = register_site(name="Ash Ferry", by=boss.id)
    register_places([NewPlace(register_site(name="Beech Weir", by=boss.id), "P-101A")], by=boss.id)
    client = signed_in("engineer", ash)
    sheet = {
        "history": "{site}pump,position,date,event,value,unit\n{at}{pump},DE,2021-03-09,reading,0.155,mm\n",
        "register": "site,pump,position\n{name},P-3,DE\n",
        "outages": "site,name,start,end\n{name},spring,2027-04-01,2027-04-09\n",
    }[kind]

    def answered(pump, name, *, named=True):
        words = sheet.format(
            site="site," if named else "", at=f"{name}," if named else "", pump=pump, name=name
        )
        told = text_of(post(client, kind, words, name="s.csv"))
        return (told.replace(name, "NAME") if name else told).replace(pump, "PUMP")

    assert answered("P-101A", "Beech Weir") == answered("Q-777Z", "Other Weir")
    if kind == "history":
        assert answered("P-101A", "", named=False) == answered("Q-777Z", "", named=False)
    assert not Sheet.objects.exists()


def test_imports_of_other_sites_are_not_seen(signed_in, boss):
    ash = register_site(name="Ash Ferry", by=boss.id)
    beech = register_site(name="Beech Weir", by=boss.id)
    post(signed_in("engineer", ash), "outages", OUTAGES.format(pumps=""), name="ours.csv")
    client = signed_in("engineer", beech)
    assert "ours.csv" not in text_of(client.get(reverse("import")))
    assert client.get(reverse("import-done", args=[Sheet.objects.get().id])).status_code == 404


def test_templates_can_be_downloaded_and_their_headings_come_back(signed_in):
    client = signed_in("reader")
    for kind in ("register", "outages", "spares", "work_hours"):
        answer = client.get(reverse("import-template", args=[kind]))
        assert answer["Content-Disposition"] == f'attachment; filename="{kind}.csv"'
        workbook = client.get(reverse("import-template", args=[kind]) + "?as=xlsx")
        assert workbook.content.startswith(b"PK")
    assert (
        answer.content.decode("utf-8-sig") == "class,open_hours,measure_hours,scrape_hours,replace_hours\r\n"
    )
    assert client.get(reverse("import-template", args=["wishes"])).status_code == 404


def test_the_page_asks_the_database_as_often_for_2_imports_as_for_12(
    signed_in, boss, django_assert_num_queries
):
    register_site(name="Ash Ferry", by=boss.id)
    client = signed_in("engineer")
    counts = []
    for n in (2, 10):
        for i in range(n):
            post(
                client,
                "outages",
                OUTAGES.format(pumps="").replace("spring", f"spring {n} {i}"),
                name=f"{n}{i}.csv",
            )
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as asked:
            client.get(reverse("import"))
        counts.append(len(asked))
    assert counts[0] == counts[1] and counts[1] <= 15
