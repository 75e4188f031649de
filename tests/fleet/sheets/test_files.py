"""Sheets as text: nothing guessed, nothing lost in silence, and no file that harms its reader."""

import datetime as dt
import io
import random
import re
import zipfile

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.sheets.export import csv_bytes, guarded, xlsx_bytes
from fleet.sheets.files import SheetFault, read_sheet

MEASURED = "pump,date,event,value\nP-101A,2026-03-09,reading,0.15\n"


def read_csv(text):
    return read_sheet(text.encode(), "history.csv").tabs[0]


def refusal(data, name="history.csv", **more):
    with pytest.raises(SheetFault) as refused:
        read_sheet(data, name, **more)
    sentence = str(refused.value)
    assert sentence.startswith("file: ")
    assert len(sentence) < 400
    return sentence


# CSV -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_found_from_the_heading_row(separator):
    tab = read_csv(f"pump{separator}value{separator}note\n0012{separator}0.15{separator}\n")
    assert tab.heading == ["pump", "value", "note"]
    assert tab.rows[0].cells == ["0012", "0.15", ""]


def test_a_decimal_comma_in_the_rows_does_not_decide_the_separator():
    tab = read_csv("pump;value\nA;0,15\nB;0,16\nC;1,1,1,1\n")
    assert [row.cells for row in tab.rows] == [["A", "0,15"], ["B", "0,16"], ["C", "1,1,1,1"]]


def test_a_heading_that_can_be_cut_in_two_ways_is_asked_about():
    assert "two ways" in refusal(b"pump;value,note\nA;1,2\n")
    assert read_csv('pump;"value, mm"\nA;1\n').heading == ["pump", "value, mm"]


def test_identifiers_stay_the_text_they_are():
    odd = ["0012", "NA", "null", "1E5", "TRUE", "3-4", "MAR1", " lead ", "nan", "=1+1", "#N/A", "\u202eabc"]
    tab = read_csv("id\n" + "".join(f'"{text}"\n' for text in odd))
    assert [row.cells[0] for row in tab.rows] == odd


def test_rows_carry_the_number_of_their_first_line():
    tab = read_csv('a,b\n1,"two\nlines"\n\n2,x\r\n3,"y\r\nz"\n4,w')
    assert [(row.number, row.cells) for row in tab.rows] == [
        (2, ["1", "two\nlines"]),
        (4, ["", ""]),
        (5, ["2", "x"]),
        (6, ["3", "y\r\nz"]),
        (8, ["4", "w"]),
    ]
    assert [row.is_blank for row in tab.rows] == [False, True, False, False, False]


def test_a_byte_order_mark_and_a_separator_hint_are_no_cells():
    assert read_csv("\ufeffpump,value\nA,1\n").heading == ["pump", "value"]
    tab = read_csv("\ufeffsep=;\r\npump;value\r\nA;1\r\n")
    assert (tab.heading, tab.rows[0].number, tab.rows[0].cells) == (["pump", "value"], 3, ["A", "1"])


def test_a_title_above_the_heading_keeps_every_row_in_reach():
    tab = read_csv("\nClearance record\npump;value\nA;0,15\n")
    assert [(row.number, row.cells) for row in tab.all_rows()] == [
        (2, ["Clearance record", ""]),
        (3, ["pump", "value"]),
        (4, ["A", "0,15"]),
    ]


def test_a_cell_beyond_the_heading_is_not_lost():
    tab = read_csv("pump,value\nA,0,15\nB,1\n")
    assert tab.rows[0].cells == ["A", "0", "15"]
    assert [row.number for row in tab.rows_beyond_heading()] == [2]


@pytest.mark.parametrize("coding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf_16_is_read_cell_for_cell(coding):
    sheet = read_sheet(MEASURED.encode(coding), "h.csv")
    assert sheet.tabs == read_sheet(MEASURED.encode(), "h.csv").tabs
    assert "UTF-16" in sheet.remarks[0]


def test_utf_32_and_half_a_character_are_refused():
    assert "UTF-32" in refusal(MEASURED.encode("utf-32"))
    assert "cut off" in refusal(MEASURED.encode("utf-16") + b"x")


def test_a_western_code_page_is_read_and_its_words_are_shown():
    sheet = read_sheet(
        "Pumpe;Spaltma\u00df \u00b5m;Pr\u00fcfer\nA;120;M\u00fcller\n".encode("cp1252"), "h.csv"
    )
    assert sheet.separator == ";"
    assert sheet.tabs[0].heading == ["Pumpe", "Spaltma\u00df \u00b5m", "Pr\u00fcfer"]
    assert sheet.tabs[0].rows[0].cells == ["A", "120", "M\u00fcller"]
    assert "1252" in sheet.remarks[0] and "'Spaltma\u00df'" in sheet.remarks[0]


@pytest.mark.parametrize(
    ("coding", "word"),
    [("cp1251", "\u043d\u0430\u0441\u043e\u0441"), ("cp1250", "\u010derpadlo \u0165")],
)
def test_another_code_page_is_refused_with_its_row(coding, word):
    sentence = refusal(f"pump,note\nA,x\nB,{word}\n".encode(coding))
    assert "row 3" in sentence
    assert "CSV UTF-8" in sentence


def test_lost_and_missing_characters_are_refused_with_their_row():
    assert "row 2" in refusal("pump,note\nA,M\ufffdller\n".encode())
    assert "row 2 holds a NUL" in refusal(MEASURED.encode().replace(b"0.15", b"0\x0015"))


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "empty"),
        (b" \n\n", "empty"),
        (b",,\n,,\n", "no cell"),
        (b"pump|value\nA|1\n", "parted by |"),
        (b"<html><table><tr><td>1</td></tr></table></html>", "web page"),
        (b'pump,note\nA,"open\nB,2\n', "row 2 has a quotation mark"),
        (b'pump,note\nA,"x"y\n', "row 2 has a quotation mark"),
        (b"a," * 201 + b"\n", "columns"),
        (b"pump,note\nA," + b"x" * 1_000_001 + b"\n", "more than 1000000 characters"),
        (b"a,b\n" * 300_002, "at most 300000 are read at once; split the sheet, for instance by years"),
        (b"a" * 50_000_001, "50 MB"),
    ],
)
def test_a_csv_that_cannot_be_a_sheet_is_refused_with_a_sentence(data, says):
    assert says in refusal(data)


def test_a_csv_has_no_tabs_and_a_workbooks_name_needs_a_workbook():
    assert "no tabs" in refusal(MEASURED.encode(), tab="2026")
    assert "content is none" in refusal(MEASURED.encode(), name="History.XLSX")


cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00\ufffd"), max_size=12)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=8))
def test_what_the_exporter_writes_as_csv_reads_back_cell_for_cell(rows):
    back = [row.cells for row in read_sheet(csv_bytes(["a", "b", "c"], rows), "x.csv").tabs[0].rows]
    written = [[guarded(cell) for cell in row] for row in rows]
    while written and not any(cell.strip() for cell in written[-1]):
        written.pop()
    assert back == written


# XLSX ------------------------------------------------------------------------------------------------------


def saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def workbook(*rows, first=1):
    book = openpyxl.Workbook()
    for row, values in enumerate(rows, start=first):
        for column, value in enumerate(values, start=1):
            book.active.cell(row, column, value)
    return book


def history(n=5):
    return workbook(["pump", "value"], *([f"P-{k}", k / 8] for k in range(n)))


def changed(data, part, change):
    """The workbook with one part's text changed (or a new part added)."""
    old, out = zipfile.ZipFile(io.BytesIO(data)), io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, change(text) if name == part else text)
        if part not in old.namelist():
            new.writestr(part, change(b""))
    return out.getvalue()


def sheet_with(cells_xml, dimension=""):
    """A workbook whose one tab holds exactly this XML."""

    def change(text):
        text = re.sub(rb"<dimension[^>]*/>", dimension.encode(), text)
        return re.sub(
            rb"<sheetData.*</sheetData>|<sheetData ?/>", f"<sheetData>{cells_xml}</sheetData>".encode(), text
        )

    return changed(saved(openpyxl.Workbook()), "xl/worksheets/sheet1.xml", change)


def test_a_workbooks_cells_are_the_text_the_sheet_shows():
    book = workbook(
        ["pump", "n", "sum", "small", "big", "on", "at", "yes", "share"],
        [
            "0012",
            12,
            0.1 + 0.2,
            0.0000152,
            123456789012,
            dt.date(2026, 3, 9),
            dt.datetime(2026, 3, 9, 14, 30),
            True,
            2.0,
        ],
    )
    row = read_sheet(saved(book), "h.xlsx").tabs[0].rows[0]
    assert row.number == 2
    assert row.cells == [
        "0012",
        "12",
        "0.3",
        "0.0000152",
        "123456789012",
        "2026-03-09",
        "2026-03-09 14:30:00",
        "TRUE",
        "2",
    ]
    assert row.date_columns == {5, 6}
    assert row.number_columns == {1, 2, 3, 4, 8}


@pytest.mark.parametrize(
    ("stored", "text"),
    [
        ("0.30000000000000004", "0.3"),
        ("9.700000000000001", "9.7"),
        ("1.5E-3", "0.0015"),
        ("-2.5e-7", "-0.00000025"),
        ("123456.789", "123456.789"),
        ("-0", "0"),
        ("1e308", "1e+308"),
        ("6.0000000000000001E-3", "0.006"),
    ],
)
def test_a_number_loses_its_binary_tail_and_its_exponent(stored, text):
    tab = read_sheet(sheet_with(number_cell("A1") + number_cell("A2", stored)), "h.xlsx").tabs[0]
    assert tab.rows[0].cells == [text]


def test_a_date_where_an_interval_was_typed_is_marked_as_a_date():
    tab = read_sheet(
        saved(workbook(["pump", "value"], ["A", "3-4"], ["B", dt.date(2026, 4, 3)])), "h.xlsx"
    ).tabs[0]
    assert [row.date_columns for row in tab.rows] == [frozenset(), {1}]


def test_leading_noughts_of_a_number_format_and_error_cells_are_kept():
    book = workbook(["pump", "id", "value"], ["A", 12, 1.5], ["B", 7, "#N/A"], ["C", 123456, "#DIV/0!"])
    for row in (2, 3, 4):
        book.active.cell(row, 2).number_format = "0000"
    for row in (3, 4):
        book.active.cell(row, 3).data_type = "e"
    rows = read_sheet(saved(book), "h.xlsx").tabs[0].rows
    assert [row.cells[1:] for row in rows] == [["0012", "1.5"], ["0007", "#N/A"], ["123456", "#DIV/0!"]]


def test_a_workbook_that_counts_days_from_1904_gives_the_same_days():
    book = workbook(["on"], [dt.date(2026, 3, 9)])
    book.epoch = dt.datetime(1904, 1, 1)
    assert read_sheet(saved(book), "h.xlsx").tabs[0].rows[0].cells == ["2026-03-09"]


def test_rows_of_a_workbook_keep_the_sheets_own_numbers():
    book = workbook(["pump", "value"], ["A", 1], [None, None], ["B", 2], first=4)
    book.active.move_range("A4:B7", cols=2)
    tab = read_sheet(saved(book), "h.xlsx").tabs[0]
    assert tab.heading == ["", "", "pump", "value"]
    assert tab.heading_row.number == 4
    assert [(row.number, row.cells[2:]) for row in tab.rows] == [
        (5, ["A", "1"]),
        (6, ["", ""]),
        (7, ["B", "2"]),
    ]


def test_tabs_come_in_order_by_name_or_the_first_one_shown():
    book = history()
    book.active.title, book.active.sheet_state = "old", "hidden"
    for name in ("P-101", "P-102"):
        book.create_sheet(name).append(["pump", name])
    book.active = 1
    data = saved(book)
    assert [(tab.name, tab.hidden) for tab in read_sheet(data, "h.xlsx").tabs] == [
        ("old", True),
        ("P-101", False),
        ("P-102", False),
    ]
    assert [tab.name for tab in read_sheet(data, "h.xlsx", tab=0).tabs] == ["P-101"]
    assert [tab.heading for tab in read_sheet(data, "h.xlsx", tab="P-102").tabs] == [["pump", "P-102"]]
    assert "P-101, P-102" in refusal(data, tab="P-103")


def test_merged_cells_and_hidden_rows_are_told():
    book = history()
    book.active.merge_cells("A3:B4")
    book.active.row_dimensions[5].hidden = True
    tab = read_sheet(saved(book), "h.xlsx").tabs[0]
    assert tab.merged == [(3, 0, 4, 1)]
    assert tab.hidden_rows == {5}


def test_an_empty_tab_has_no_heading():
    tab = read_sheet(saved(openpyxl.Workbook()), "h.xlsx").tabs[0]
    assert (tab.heading, tab.rows, tab.all_rows()) == ([], [], [])


def test_prefixed_and_single_quoted_xml_reads_alike():
    xml = (
        b"<?xml version='1.0'?><x:worksheet"
        b" xmlns:x='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><x:sheetData><x:row r='1'><x:c"
        b" r='A1' t='inlineStr'><x:is><x:t>pump</x:t></x:is></x:c></x:row><x:row r='2' hidden='1'><x:c"
        b" r='A2'><x:v>1.5</x:v></x:c><x:c r='B2'"
        b" t='e'><x:v>#REF!</x:v></x:c></x:row></x:sheetData></x:worksheet>"
    )
    tab = read_sheet(changed(saved(history()), "xl/worksheets/sheet1.xml", lambda _: xml), "h.xlsx").tabs[0]
    assert (tab.heading, tab.rows[0].cells, tab.hidden_rows) == (["pump", ""], ["1.5", "#REF!"], {2})


@settings(max_examples=12, deadline=None)
@given(st.lists(st.floats(-1e6, 1e6).filter(lambda x: x == 0 or abs(x) > 1e-6), min_size=1, max_size=40))
def test_a_number_reads_back_to_the_fifteen_digits_a_sheet_keeps(numbers):
    rows = read_sheet(xlsx_bytes(["v"], [[x] for x in numbers], sheet_name="x"), "x.xlsx").tabs[0].rows
    for row, number in zip(rows, numbers, strict=True):
        assert "e" not in row.cells[0]
        assert float(row.cells[0]) == pytest.approx(number, rel=1e-14, abs=0)


# hostile workbooks -----------------------------------------------------------------------------------------


def number_cell(place, value=1):
    row = re.sub("[A-Z]", "", place)
    return f'<row r="{row}"><c r="{place}"><v>{value}</v></c></row>'


@pytest.mark.parametrize("place", ["XFD1048576", "Z1048576", "A1048576", "XFD2", "GS2"])
def test_a_far_cell_is_refused_by_name(place):
    sentence = refusal(sheet_with(number_cell("A1") + number_cell(place)), "far.xlsx")
    assert place in sentence or "1048576" in sentence


def test_a_far_blank_cell_with_a_format_is_no_fault():
    xml = number_cell("A1") + '<row r="1048576"><c r="XFD1048576" s="0"/></row>'
    assert read_sheet(sheet_with(xml), "far.xlsx").tabs[0].heading == ["1"]


def test_a_dimension_that_hides_rows_or_columns_is_refused():
    xml = "".join(f'<row r="{r}"><c r="A{r}"><v>1</v></c><c r="D{r}"><v>2</v></c></row>' for r in range(1, 9))
    assert "row 5" in refusal(sheet_with(xml, '<dimension ref="A1:D5"/>'), "lie.xlsx")
    assert "column 3" in refusal(sheet_with(xml, '<dimension ref="A1:C8"/>'), "lie.xlsx")
    for honest in ("", '<dimension ref="A1"/>', '<dimension ref="A1:A1"/>', '<dimension ref="A1:D8"/>'):
        assert len(read_sheet(sheet_with(xml, honest), "x.xlsx").tabs[0].rows) == 7


def test_a_row_that_stands_twice_is_refused():
    assert "row 2 twice" in refusal(sheet_with(number_cell("A2") + number_cell("A2", 9)), "twice.xlsx")


def test_a_formula_without_a_result_is_one_cell_that_shows_its_formula():
    tab = read_sheet(saved(workbook(["a", "b"], [1, "=A2*2"], [3, 4], [5, "=A4&B3"])), "f.xlsx").tabs[0]
    assert [row.cells for row in tab.rows] == [["1", "=A2*2"], ["3", "4"], ["5", "=A4&B3"]]
    assert tab.rows[0].number_columns == {0}


def test_a_formula_with_a_result_is_its_result():
    results = (
        '<c r="A2"><f>1+1</f><v>2</v></c><c r="B2" t="str"><f>""</f><v></v></c><c r="C2"'
        ' t="str"><f>A1</f><v>x</v></c>'
    )
    data = sheet_with(number_cell("A1") + f'<row r="2">{results}</row>')
    assert read_sheet(data, "f.xlsx").tabs[0].rows[0].cells == ["2", "", "x"]


def test_a_bomb_is_refused_before_it_is_unpacked():
    blank = b" " * 60_000_000
    bomb = changed(
        saved(history()), "xl/worksheets/sheet1.xml", lambda text: text.replace(b"<sheetData>", blank)
    )
    assert len(bomb) < 100_000
    assert "200 times" in refusal(bomb, "bomb.xlsx")


def test_a_part_larger_than_it_claims_is_refused():
    data = bytearray(changed(saved(history()), "xl/media/a.xml", lambda _: b"x" * 50_000))
    for at in [m.start() for m in re.finditer(re.escape((50_000).to_bytes(4, "little")), bytes(data))]:
        data[at : at + 4] = (500).to_bytes(4, "little")
    assert "claims" in refusal(bytes(data), "lie.xlsx")


def test_text_that_swells_in_memory_ends_the_child_and_not_this_process():
    strings = f'<sst count="1" uniqueCount="1"><si><t>{"ab" * 16_000}</t></si></sst>'
    rows = "".join(
        f'<row r="{r}">'
        + "".join(f'<c r="{c}{r}" t="s"><v>0</v></c>' for c in "ABCDEFGH")
        + f"</row><!--{r}-->"
        for r in range(1, 9000)
    )
    data = changed(
        saved(workbook(["a"])),
        "xl/worksheets/sheet1.xml",
        lambda text: re.sub(rb"<sheetData>.*</sheetData>", f"<sheetData>{rows}</sheetData>".encode(), text),
    )
    data = changed(data, "xl/sharedStrings.xml", lambda _: strings.encode())
    assert re.search("too much memory|more text", refusal(data, "swell.xlsx"))


@pytest.mark.parametrize(
    ("part", "text", "says"),
    [
        ("xl/vbaProject.bin", b"x", "macros"),
        ("xl/macrosheets/sheet1.xml", b"<a/>", "macros"),
        ("xl/workbook.bin", b"x", "XLSB"),
        ("content.xml", b"<a/>", "OpenDocument"),
        ("xl/theme/odd.xml", b'<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>', "entities"),
        ("xl/theme/odd.xml", '<?xml version="1.0" encoding="UTF-16"?><a/>'.encode("utf-16"), "UTF-8"),
        ("xl/theme/odd.xml", b'<?xml version="1.0" encoding="UTF-7"?><a/>', "UTF-8"),
    ],
)
def test_a_part_no_sheet_needs_is_refused(part, text, says):
    assert says in refusal(changed(saved(history()), part, lambda _: text), "odd.xlsx")


def test_entities_in_the_sheet_itself_are_refused():
    laughs = b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
    data = changed(saved(history()), "xl/worksheets/sheet1.xml", lambda text: laughs + text)
    assert "entities" in refusal(data, "laughs.xlsx")


def test_other_documents_are_named():
    old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 512
    assert "damaged" in refusal(old, "h.xls")
    assert "macros" in refusal(old + "_VBA_PROJECT".encode("utf-16-le"), "h.xls")
    assert "password" in refusal(old + "EncryptedPackage".encode("utf-16-le"), "h.xlsx")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("history.xlsx", saved(history()))
    assert "ZIP archive" in refusal(out.getvalue(), "h.zip")
    assert "cut off" in refusal(saved(history())[:-200], "h.xlsx")


def test_more_columns_or_parts_than_any_sheet_has_are_refused():
    wide = workbook([f"c{k}" for k in range(201)])
    assert "200 columns" in refusal(saved(wide), "wide.xlsx")
    data = io.BytesIO(saved(history()))
    with zipfile.ZipFile(data, "a") as archive:
        for k in range(2001):
            archive.writestr(f"xl/media/{k}.png", b"")
    assert "parts inside" in refusal(data.getvalue(), "parts.xlsx")


def test_a_workbook_with_flipped_bytes_is_refused_or_read_unchanged():
    data = saved(history(40))
    whole = [row.cells for row in read_sheet(data, "h.xlsx").tabs[0].rows]
    rng = random.Random(7)
    n_refused = 0
    for _ in range(40):
        mutant = bytearray(data)
        for _ in range(rng.randint(1, 20)):
            mutant[rng.randrange(len(mutant))] ^= 1 << rng.randrange(8)
        try:
            assert [row.cells for row in read_sheet(bytes(mutant), "h.xlsx").tabs[0].rows] == whole
        except SheetFault:
            n_refused += 1
    assert n_refused > 20


def test_twenty_thousand_rows_are_all_read():
    rows = [
        [f"P-{k % 500:03}", dt.date(2026, 3, 9), k / 1000, *["text", k, ""] * 7, "end"] for k in range(20_000)
    ]
    headings = [f"h{k}" for k in range(25)]
    data = xlsx_bytes(headings, rows, sheet_name="History")
    tab = read_sheet(data, "h.xlsx").tabs[0]
    assert (len(tab.rows), tab.rows[-1].number, tab.rows[-1].cells[-1]) == (20_000, 20_001, "end")
