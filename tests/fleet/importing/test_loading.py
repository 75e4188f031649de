"""The way of any file into the record, with a small kind of sheet of the test's own."""

import pytest
from django.db import connection

from fleet.importing import loaders
from fleet.importing.columns import Column, identifier, number, text
from fleet.importing.loaders import Loader
from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.models import SetAside, Sheet, SheetRow, Site, StoredFile
from fleet.plant.people import person_named
from fleet.plant.register import register_site

pytestmark = pytest.mark.django_db


class Weights(Loader):
    """A pretended history: each row is known by its id or its words; a weight above 100 is a question."""

    holds = "history"
    known_by_rows = True
    columns = (
        Column("site", identifier(80), required=True),
        Column("pump", identifier(80), required=True),
        Column("weight", number(0, 1000)),
        Column("note", text(20)),
        Column("entry_id", identifier(180), names_row=True),
    )

    def __init__(self):
        self.stored = []

    def resolve(self, parsed, context):
        for row in parsed.rows:
            site = context.directory.site(row.get("site", context.options.site))
            row.site = site.id if site else None
            if site is None:
                near = context.directory.nearest_sites(row.typed.get("site", ""))
                yield row.question("site", "a known site", f"is {near} meant?", "unknown_site")

    def check(self, parsed, context):
        for row in parsed.rows:
            if row.get("weight", 0) > 100:
                yield row.question("weight", "at most 100", "check it", "heavy")

    def store(self, rows, context, act):
        self.stored.extend(row.number for row in rows)
        return len(rows), 0


@pytest.fixture
def loader(monkeypatch):
    weights = Weights()
    monkeypatch.setitem(loaders.LOADERS, "history", weights)
    return weights


@pytest.fixture
def by():
    return person_named("Keeper of the sheets").id


@pytest.fixture
def ash(by):
    return register_site(name="Ash Ferry", by=by)


def bring(text_, by, name="weights.csv", **options):
    return import_file(text_.encode(), name, holds="history", by=by, options=Options(**options))


HEAD = "Site,PUMP,weight,note,entry_id\n"


def test_a_clean_file_is_stored_with_its_bytes_and_counts_that_add_up(loader, by, ash):
    result = bring(HEAD + "ash ferry,P-1,5,,\n,,,,\nAsh Ferry,P-2,6,,\n", by)
    assert result.ok and result.faults == []
    counts = result.counts
    assert (counts.seen, counts.stored, counts.blank, counts.already, counts.set_aside) == (3, 2, 1, 0, 0)
    sheet = Sheet.objects.get()
    assert sheet.recorded_by == by and sheet.site == ash
    assert bytes(sheet.file.data).startswith(b"Site,PUMP")
    assert loader.stored == [2, 4]


def test_the_same_file_twice_adds_nothing_and_says_when_it_came(loader, by, ash):
    words = HEAD + "Ash Ferry,P-1,5,,\nAsh Ferry,P-1,5,,\n"
    bring(words, by)
    again = bring(words, by)
    assert again.ok and again.counts.stored == 0 and again.counts.already == 2
    assert "imported before" in again.remarks[0] and "Keeper of the sheets" in again.remarks[0]
    assert SheetRow.objects.count() == 2 and StoredFile.objects.count() == 1


def test_the_same_content_written_otherwise_is_the_same_row(loader, by, ash):
    bring(HEAD + "Ash Ferry,P-1,5.50,,\n", by)
    again = bring("pump;site;weight\nP-1;Ash Ferry;5,5\n", by, decimal_comma=True)
    assert again.ok and again.counts.already == 1


def test_two_equal_rows_of_one_file_are_two_rows_and_a_third_adds_one(loader, by, ash):
    row = "Ash Ferry,P-1,5,,\n"
    bring(HEAD + row * 2, by)
    more = bring(HEAD + row * 3, by)
    assert (more.counts.stored, more.counts.already) == (1, 2)


def test_a_known_id_with_other_content_is_a_question(loader, by, ash):
    bring(HEAD + "Ash Ferry,P-1,5,,w1\n", by)
    again = bring(HEAD + "Ash Ferry,P-1,7,,w1\nAsh Ferry,P-2,7,,w2\n", by)
    assert not again.ok and not again.faults
    assert [one.line().split(":")[0] for one in again.questions] == ["row 2, column entry_id"]
    assert SheetRow.objects.count() == 1


def test_an_id_twice_in_one_file_with_other_content_is_a_question(loader, by, ash):
    result = bring(HEAD + "Ash Ferry,P-1,5,,w1\nAsh Ferry,P-1,6,,w1\n", by)
    assert [one.code for one in result.questions] == ["id_with_other_content"]


def test_all_faults_and_questions_come_at_once_and_nothing_is_stored(loader, by, ash):
    result = bring(
        HEAD + "Ash Ferry,,1e5,,\nAsh Fery,P-2,5,much too long a note for this,\nAsh Ferry,P-3,101,,\n", by
    )
    assert [one.line().split(": ")[0] for one in result.findings] == [
        "row 2, column weight",
        "row 2, column pump",
        "row 3, column note",
        "row 3, column site",
        "row 4, column weight",
    ]
    assert not Sheet.objects.exists() and not StoredFile.objects.exists() and loader.stored == []


def test_questions_are_set_aside_with_a_reason_word_for_word_and_the_rest_is_stored(loader, by, ash):
    words = "site,pump,weight,scribble\nAsh Ferry,P-1,5,\nAsh Ferry,P-2,500,see book\n"
    assert not bring(words, by).ok
    result = bring(words, by, set_aside="nobody knows")
    assert result.ok and (result.counts.stored, result.counts.set_aside) == (1, 1)
    aside = SetAside.objects.get()
    assert aside.cells == {"site": "Ash Ferry", "pump": "P-2", "weight": "500", "scribble": "see book"}
    assert aside.reason == "nobody knows" and "at most 100" in aside.question
    again = bring(words, by)
    assert again.ok and again.counts.already == 2 and SetAside.objects.count() == 1


def test_faults_are_never_set_aside(loader, by, ash):
    result = bring(HEAD + "Ash Ferry,P-1,1_0,,\nAsh Ferry,P-2,500,,\n", by, set_aside="later")
    assert not result.ok and len(result.faults) == 1 and not SetAside.objects.exists()


def test_a_row_set_aside_is_stored_when_its_question_is_settled(loader, by, ash):
    words = HEAD + "Beech Weir,P-2,5,,\nAsh Ferry,P-1,5,,\n"
    bring(words, by, set_aside="site not registered yet")
    register_site(name="Beech Weir", by=by)
    again = bring(words, by)
    assert again.ok and (again.counts.stored, again.counts.already) == (1, 1)
    assert not SetAside.objects.standing().exists() and SetAside.objects.count() == 1


def test_a_dry_run_counts_and_stores_nothing(loader, by, ash):
    result = bring(HEAD + "Ash Ferry,P-1,5,,\n", by, dry_run=True)
    assert result.ok and result.counts.stored == 1 and "would be stored" in result.saying()
    assert not Sheet.objects.exists() and not StoredFile.objects.exists() and not SheetRow.objects.exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "empty"),
        ("weight\n5\n", "the column 'pump' is missing"),
        (HEAD, "no row below the headings"),
        ("site,pump,Pump\nAsh Ferry,P-1,P-1\n", "two columns are headed 'pump'"),
    ],
)
def test_a_fault_of_the_whole_file_begins_with_file(loader, by, ash, words, said):
    lines = [one.line() for one in bring(words, by).faults]
    assert all(line.startswith("file: ") for line in lines) and said in " ".join(lines)


def test_cells_beyond_the_headings_are_faults(loader, by, ash):
    result = bring("site,pump,weight\nAsh Ferry,P-1,1,5\n", by)
    assert [one.line().split(": ")[0] for one in result.faults] == ["row 2, column D"]


def test_a_reading_plan_nobody_kept_is_refused_with_those_that_are(loader, by, ash):
    lines = [one.line() for one in bring(HEAD + "Ash Ferry,P-1,5,,\n", by, plan="overhauls").faults]
    assert lines[0].startswith("file: no reading plan is called 'overhauls' (kept: none yet)")


def test_a_site_given_for_the_file_may_be_left_out_of_the_sheet(loader, by, ash):
    assert bring("pump,weight\nP-1,5\n", by, site="Ash Ferry").ok
    assert "no site is called" in bring("pump\nP-1\n", by, site="Oak").faults[0].line()


def test_what_fails_in_the_middle_of_storing_leaves_nothing(loader, by, ash):
    def store_and_break(rows, context, act):
        with connection.cursor() as cursor:
            cursor.execute(
                "INSERT INTO fleet_storedfile (sha256, size, data, stored_at) VALUES ('x', 1, 'x', NULL)"
            )

    loader.store = store_and_break
    result = bring(HEAD + "Ash Ferry,P-1,5,,\n", by)
    assert not result.ok and result.faults[0].code == "constraint"
    assert not StoredFile.objects.exists() and Site.objects.count() == 1
