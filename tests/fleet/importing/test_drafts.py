"""A sheet of the plant's own layout brought through the pages: planned, asked about, stored, and brought
again by its plan.
"""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.urls import reverse

from fleet.importing.withdrawal import withdraw_import
from fleet.ledger.verify import verify
from fleet.models import Answer, Draft, Entry, Name, ReadingPlan, SetAside, Sheet, StoredFile
from fleet.plant.acts import Refused
from fleet.sheets.files import read_sheet
from inspections.models import Event, MeterEntry, Reading, Visit
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
OVERHAULS = """Overhauls of P-7,,,,,
,,as found (mm),,as left (mm),
date,hrs,DE,NDE,DE,remarks
03/2014,12000,0.150,0.160,0.140,"scraped, ok"
04/2017,11000,0.170,ok,,new meter
06/2019,15000,0.180,0.19?,,
"""


@pytest.fixture
def engineer(client):
    site = makers.a_site(name="Own site")
    place = makers.a_place(site=site, tag="P-7")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position)
    account = makers.an_account(site=site)
    client.force_login(account)
    return client


def bring(client, words=OVERHAULS, name="overhauls.csv", **more):
    file = SimpleUploadedFile(name, words.encode())
    return client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point", **more})


def plan_post(**more):
    said = {
        "pump": "same",
        "pump-text": "P-7",
        "basis": "diametral",
        "date_format": "MM/YYYY",
        "unit": "mm",
        "method": "feeler",
    }
    return said | {"first_heading": "2", "last_heading": "3", "plan_name": "overhauls", "then": "go"} | more


def key_of(page, code):
    """The field of the question whose heading holds these words."""
    body = page.content.decode()
    return re.search(rf'(?i)<h2 id="q-(\w+)">[^<]*(?:{code})', body)[1]


def text_of(page):
    return " ".join(re.sub(r"<[^>]+>", " ", page.content.decode()).split()).replace("\u00a0", " ")


@pytest.fixture
def asked(engineer):
    """The draft after its plan was made; its questions page."""
    answer = bring(engineer)
    draft = Draft.objects.get()
    assert answer.url == reverse("import-plan", args=[draft.id])
    answer = engineer.post(answer.url, plan_post())
    assert answer.url == reverse("import-questions", args=[draft.id])
    return engineer, answer.url


def shown(page):
    """For looking at a page that a test did not expect."""
    return re.sub(r"(.{160})", r"\1\n", text_of(page))


def test_the_plan_is_guessed_and_shown_as_what_becomes_of_the_rows(engineer):
    page = engineer.get(bring(engineer).url)
    said = text_of(page)
    assert "3 rows become 6 readings" in said, shown(page)
    assert "nothing is stored yet" in said
    assert "Say whether the clearances are diametral or radial" in said
    assert '<option value="cell" selected>' in page.content.decode()
    assert not ReadingPlan.objects.exists() and not Reading.objects.exists()


def test_a_plan_that_lacks_something_says_what_and_goes_nowhere(engineer):
    url = bring(engineer).url
    page = engineer.post(url, plan_post(basis="", pump="cell", **{"pump-text": "first"}))
    assert page.status_code == 200
    said = text_of(page)
    assert (
        "is no cell for the pump" in said and "It is never assumed" in said and "Put this right first" in said
    )


def answers_for_all(page):
    return {
        f"choice-{key_of(page, 'remarks that name work')}": "yes",
        f"choice-{key_of(page, 'run hours')}": "reset",
        f"choice-{key_of(page, 'numbers with a mark')}": "number",
        "then": "answer",
    }


def tick_all(page, said):
    for key, value in re.findall(r'name="(row-\w+)" value="([^"]*)"', unescape(page.content.decode())):
        said.setdefault(key, []).append(value)
    return said


def test_one_answer_for_all_alike_and_then_everything_is_stored(asked):
    client, url = asked
    page = client.get(url)
    said = tick_all(page, answers_for_all(page))
    assert client.post(url, said).url == url
    page = client.get(url)
    assert "Nothing is asked any more." in text_of(page), shown(page)
    done = sheet_pages.store(client, url)
    sheet = Sheet.objects.get()
    assert done.url == reverse("import-done", args=[sheet.id])
    assert sheet.plan.name == "overhauls" and sheet.plan.version == 1
    assert not Draft.objects.exists() and Answer.objects.count() == 4
    told = sorted((r.bearing.name, str(r.on), r.stage, r.typed, r.note) for r in Reading.objects.all())
    assert told == [
        ("DE", "2014-03-01", "as_found", "0.150", ""),
        ("DE", "2014-03-01", "as_left", "0.140", ""),
        ("DE", "2017-04-01", "as_found", "0.170", ""),
        ("DE", "2019-06-01", "as_found", "0.180", ""),
        ("NDE", "2014-03-01", "as_found", "0.160", ""),
        ("NDE", "2019-06-01", "as_found", "0.19", "0.19?"),
    ]
    events = sorted((e.kind, e.bearing.name if e.bearing else "", e.note) for e in Event.objects.all())
    assert events == [
        ("note", "", "new meter"),
        ("opened", "NDE", "ok"),
        ("scrape", "DE", "scraped, ok"),
        ("scrape", "NDE", "scraped, ok"),
    ]
    meter = sorted((str(m.on), int(m.hours), m.reset) for m in MeterEntry.objects.all())
    assert meter == [("2014-03-01", 12000, False), ("2017-04-01", 11000, True), ("2019-06-01", 15000, False)]


def store(client, url):
    page = client.get(url)
    client.post(url, tick_all(page, answers_for_all(page)))
    return sheet_pages.store(client, url)


def test_the_same_file_again_by_its_plan_adds_nothing_and_asks_nothing(asked):
    client, url = asked
    store(client, url)
    before = (Reading.objects.count(), Event.objects.count(), MeterEntry.objects.count())
    again = bring(client, plan="overhauls")
    assert again.url == reverse("import-done", args=[Sheet.objects.get().id])
    assert (Reading.objects.count(), Event.objects.count(), MeterEntry.objects.count()) == before


def test_a_living_workbook_stores_its_new_rows_and_asks_about_its_corrected_cells(asked):
    client, url = asked
    store(client, url)
    words = OVERHAULS.replace("0.150", "0.152").replace("0.170,ok", "0.172,ok")
    words += "05/2020,17000,0.185,0.195,,\n06/2021,19000,0.190,0.200,,\n"
    answer = bring(client, words, plan="overhauls")
    page = client.get(answer.url)
    said = text_of(page)
    assert "1 question about 2 rows; 6 of" in said, shown(page)
    assert "'0.150' mm as the record has it" in page.content.decode().replace("&#x27;", "'")
    key = key_of(page, "readings the record has")
    client.post(answer.url, tick_all(page, {f"choice-{key}": "correct", "then": "answer"}))
    sheet_pages.store(client, answer.url)
    values = sorted(
        Reading.objects.standing()
        .filter(bearing__name="DE", stage="as_found")
        .values_list("typed", flat=True)
    )
    assert values == ["0.152", "0.172", "0.180", "0.185", "0.190"]
    corrected = Reading.objects.get(typed="0.152")
    assert Reading.objects.get(pk=corrected.supersedes).typed == "0.150"


def test_rows_nobody_can_settle_are_set_aside_with_a_reason_and_settled_later(asked):
    client, url = asked
    sheet_pages.store(client, url, "ask the foreman")
    sheet = Sheet.objects.get()
    assert sheet.n_seen == sheet.n_stored + sheet.n_set_aside + sheet.n_already + sheet.n_blank
    assert sheet.n_set_aside == SetAside.objects.standing().count() == 3
    assert {row.reason for row in SetAside.objects.all()} == {"ask the foreman"}
    answer = bring(client, plan="overhauls")
    assert answer.url.startswith("/import/") and Draft.objects.count() == 0
    assert Sheet.objects.count() == 1  # nothing new: they still wait


def test_rows_set_aside_are_asked_about_again_and_what_is_answered_is_stored(asked):
    client, url = asked
    sheet_pages.store(client, url, "ask the foreman")
    sheet = Sheet.objects.get()
    assert "Settle these rows" in text_of(client.get(reverse("import-done", args=[sheet.id])))
    again = client.post(reverse("import-settle", args=[sheet.id])).url
    assert client.post(reverse("import-settle", args=[sheet.id])).url == again  # not two drafts of one sheet
    page = client.get(again)
    assert "3 questions" in text_of(page) and "+ 3 asked about or set aside +" in text_of(page), shown(page)
    assert "Store 0 rows" not in text_of(page)
    said = {f"choice-{key_of(page, 'remarks that name work')}": "yes", "then": "answer"}
    client.post(again, tick_all(page, said))
    sheet_pages.store(client, again)
    assert not Draft.objects.exists()
    assert sorted(Event.objects.standing().filter(kind="scrape").values_list("bearing__name", flat=True)) == [
        "DE",
        "NDE",
    ]
    assert SetAside.objects.standing().count() == 2  # the meter and the doubtful number still wait
    second = Sheet.objects.exclude(pk=sheet.pk).get()
    assert second.n_seen == second.n_stored + second.n_set_aside + second.n_already + second.n_blank
    assert (second.n_stored, second.n_set_aside) == (2, 0)
    assert verify().faults == []


def test_rows_set_aside_by_an_answer_are_asked_about_again_too(asked):
    client, url = asked
    page = client.get(url)
    key = key_of(page, "numbers with a mark")
    client.post(
        url,
        tick_all(page, answers_for_all(page) | {f"choice-{key}": "aside", f"value-{key}-aside": "illegible"}),
    )
    sheet_pages.store(client, url)
    assert SetAside.objects.get().reason == "illegible"
    again = client.post(reverse("import-settle", args=[Sheet.objects.get().id])).url
    page = client.get(again)
    client.post(
        again, tick_all(page, {f"choice-{key_of(page, 'numbers with a mark')}": "number", "then": "answer"})
    )
    sheet_pages.store(client, again)
    assert not SetAside.objects.standing().exists() and Reading.objects.filter(typed="0.19").exists()


def test_a_stored_sheet_comes_back_with_what_became_of_each_row(asked):
    client, url = asked
    sheet_pages.store(client, url, "ask the foreman")
    answer = client.get(reverse("import-back", args=[Sheet.objects.get().id]))
    assert answer["Content-Disposition"].startswith("attachment")
    rows = {row.number: row.cells for row in read_sheet(answer.content, "x.xlsx").tabs[0].all_rows()}
    assert rows[4][:3] == ["03/2014", "12000", "0.150"] and rows[4][-1].startswith("4 in the record")
    assert "set aside (ask the foreman)" in rows[6][-1] and "0.19?" in rows[6][-1]
    assert "left out: A, C, E, B, D, F (a heading)" not in rows[1][-1] and "above the headings" in rows[1][-1]


LIVING = "pump,position,date,event,stage,method,value,unit\n"


def living(n, corrected=()):
    """One reading a year, the first of them corrected."""
    return LIVING + "".join(
        f"P-7,{position},{1990 + year}-05-03,reading,as_found,feeler,"
        f"{0.150 + 0.002 * year + (0.001 if (year, position) in corrected else 0):.3f},mm\n"
        for year in range(n)
        for position in ("DE", "NDE")
    )


def test_a_living_workbook_with_ten_new_rows_and_three_corrected_cells_stores_ten_and_asks_about_three(
    engineer,
):
    url = sheet_pages.questions_of(bring(engineer, living(15)).url)
    sheet_pages.store(engineer, url)
    assert Reading.objects.count() == 30
    answer = bring(engineer, living(20, corrected={(3, "DE"), (7, "NDE"), (11, "DE")}))
    said = text_of(engineer.get(answer.url))
    assert "1 question about 3 rows; 10 of 40 can be stored as they are" in said, said
    sheet_pages.store(engineer, answer.url, "the foreman looks them up")
    last = Sheet.objects.order_by("-recorded_at").first()
    assert (last.n_seen, last.n_stored, last.n_set_aside, last.n_already) == (40, 10, 3, 27)
    assert Reading.objects.standing().count() == 40


def test_a_plan_is_kept_in_versions_and_used_by_its_name_from_the_command(asked, tmp_path, capsys):
    client, url = asked
    store(client, url)
    path = tmp_path / "overhauls.csv"
    path.write_text(OVERHAULS + "05/2020,17000,0.185,0.195,,\n")
    call_command("import_history", str(path), plan="overhauls")
    assert "3 stored" in capsys.readouterr().out
    assert Sheet.objects.order_by("-recorded_at").first().plan.version == 1
    other = client.post(
        bring(client, OVERHAULS.replace("0.150", "0.151"), name="b.csv", plan="~new").url,
        plan_post(method="lead_wire"),
    )
    sheet_pages.store(client, other.url, "not now")
    versions = ReadingPlan.objects.filter(name="overhauls").order_by("version")
    assert [one.version for one in versions] == [1, 2] and [one.body["method"] for one in versions] == [
        "feeler",
        "lead_wire",
    ]
    assert "overhauls" in text_of(client.get(reverse("import"))) and "version 2" in text_of(
        client.get(reverse("import"))
    )


def test_the_sheet_comes_back_with_its_remarks(asked):
    client, _ = asked
    draft = Draft.objects.get()
    data = client.get(reverse("import-marked", args=[draft.id])).content
    tab = read_sheet(data, "x.xlsx").tabs[0]
    rows = {row.number: row.cells for row in tab.all_rows()}
    assert rows[1][-1] == "remarks of the import" and rows[4][:3] == ["03/2014", "12000", "0.150"]
    assert "0.19?" in rows[6][-1] and rows[6][3] == "0.19?"


def test_an_import_is_taken_back_whole_and_its_rows_may_come_again(asked):
    client, url = asked
    store(client, url)
    sheet = Sheet.objects.get()
    answer = client.post(reverse("import-withdraw", args=[sheet.id]), {"reason": "wrong pump"})
    assert answer.url == reverse("import")
    for model in (Reading, Event, MeterEntry, Visit, Sheet, Answer):
        assert not model.objects.standing().exists(), model
    taken = Entry.objects.filter(kind="import_withdrawal")
    assert len({one.chain for one in taken}) == taken.count() and len({one.act for one in taken}) == 1
    assert verify().faults == []
    again = client.get(bring(client, plan="overhauls").url)
    assert "3 questions" in text_of(again)
    with pytest.raises(Refused):
        withdraw_import(Sheet.objects.get(pk=sheet.pk), reason="again", by=makers.somebody())


def test_a_draft_is_its_own_accounts_only_and_can_be_forgotten(asked, client):
    _, url = asked
    draft = Draft.objects.get()
    client.force_login(makers.an_account())
    for name in ("import-questions", "import-plan", "import-marked"):
        assert client.get(reverse(name, args=[draft.id])).status_code == 404
    client.force_login(draft.by)
    client.post(url, {"then": "forget"})
    assert not Draft.objects.exists() and not StoredFile.objects.exists()


def test_a_spelling_once_said_is_known_from_then_on(engineer):
    words = (
        "pump,position,date,event,stage,method,value,unit\nP"
        " 7,DE,2014-03-01,reading,as_found,feeler,0.15,mm\n"
    )
    url = bring(engineer, words).url
    page = engineer.get(url)
    key = key_of(page, "pumps spelt otherwise")
    engineer.post(url, {f"choice-{key}": "is", "then": "answer"})
    assert sheet_pages.store(engineer, url).url.startswith("/import/")
    assert Reading.objects.get().bearing.place.tag == "P-7"
    assert Name.objects.get(spelling=True).text == "P 7"
    other = bring(engineer, words.replace("2014", "2015").replace("0.15", "0.16"), "other.csv").url
    assert other.endswith("/last/")
    sheet_pages.store(engineer, sheet_pages.questions_of(other))
    assert Reading.objects.count() == 2


def test_remarks_that_name_work_stand_in_one_table_and_a_row_left_unticked_is_asked_about_again(engineer):
    words = (
        "date,DE as found (mm),remarks\n2014-03-01,0.150,scraped ok\n2016-03-01,0.160,new"
        " brgs\n2018-03-01,0.170,scraped high spots\n"
    )
    url = engineer.post(
        bring(engineer, words).url, plan_post(first_heading="1", last_heading="1", date_format="")
    ).url
    page = engineer.get(url)
    body = page.content.decode()
    assert body.count('data-code="remark_names_work"') == 1 and "1 question about 3 rows" in text_of(page), (
        shown(page)
    )
    said = tick_all(page, {"choice-remark_names_work": "yes", "then": "answer"})
    said = {
        name: [one for one in value if "high spots" not in one] if name.startswith("row-") else value
        for name, value in said.items()
    }
    engineer.post(url, said)
    page = engineer.get(url)
    assert "about 1 row" in text_of(page) and "scraped high spots" in text_of(page), shown(page)
    engineer.post(url, tick_all(page, {"choice-remark_names_work": "no", "then": "answer"}))
    sheet_pages.store(engineer, url)
    told = sorted(Event.objects.standing().values_list("kind", "note"))
    assert told == [("note", "scraped high spots"), ("scrape", "scraped ok"), ("shell_change", "new brgs")]


def test_a_question_shows_what_each_answer_would_store(engineer):
    words = "date,DE as found (mm)\n2014-03-01,.15/.16\nspring 2016,0.17?\n"
    url = engineer.post(
        bring(engineer, words).url, plan_post(first_heading="1", last_heading="1", date_format="")
    ).url
    said = text_of(engineer.get(url))
    for example in (
        "pump side .15, other end .16",
        "between .15 and .16",
        "2016-03 to 2016-05",
        "2016-09 to 2016-11",
    ):
        assert example in said, said


def test_an_answer_that_needs_something_is_not_taken_without_it(engineer):
    words = (
        "pump,position,date,event,stage,method,value,unit\nQ"
        " 8,DE,2014-03-01,reading,as_found,feeler,0.15,mm\n"
    )
    url = bring(engineer, words).url
    key = key_of(engineer.get(url), "pumps and bearings nobody has registered")
    answer = engineer.post(
        url, {f"choice-{key}": "is", f"value-{key}-is": "P-999", "then": "answer"}, follow=True
    )
    assert "give the pump" in text_of(answer) and Draft.objects.get().answers == {}


def test_a_draft_opens_where_it_was_left(engineer):
    bring(engineer)
    draft = Draft.objects.get()
    listed = engineer.get(reverse("import")).content.decode()
    there = reverse("import-questions", args=[draft.id])
    assert there in listed
    plan = reverse("import-plan", args=[draft.id])
    assert engineer.get(there).url == plan  # nobody has said yet what its columns hold
    engineer.post(plan, plan_post(basis="", method="lead_wire", then="show"))
    assert engineer.get(there).url == plan  # half said
    page = engineer.get(plan).content.decode()
    assert '<option value="lead_wire" selected>' in page
    engineer.post(plan, plan_post())
    assert engineer.get(there).status_code == 200


def test_guesses_are_made_anew_when_the_heading_row_is_mended(engineer):
    words = "clearances by J.S., sheet, 4\nkept since, 2014, 5\ndate,remarks,NDE (mm)\n03/2014,new,0.150\n"
    url = bring(engineer, words).url
    said = plan_post(
        first_heading="1", last_heading="1", then="show", **{"c0-use": "leave", "c2-use": "leave"}
    )
    engineer.post(url, said)
    engineer.post(url, said | {"first_heading": "3", "last_heading": "3"})
    columns = {one["column"]: one for one in Draft.objects.get().plan["columns"]}
    assert columns[0]["use"] == "date" and columns[1]["use"] == "remark"
    assert columns[2] | {"position": "NDE", "unit": "mm", "use": "value"} == columns[2]
