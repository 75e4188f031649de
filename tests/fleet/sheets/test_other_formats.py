"""Open documents and old workbooks as text, their cells as a newer workbook's would be."""

import io
import subprocess
import zipfile
from pathlib import Path

from fleet.recent import Recent
from fleet.sheets import files
from fleet.sheets.files import read_sheet
from tests.fleet.sheets.test_files import refusal

ODS_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
    '<table:table table:name="Lager">'
)
ODS_TAIL = "</table:table></office:spreadsheet></office:body></office:document-content>"
ODS_KIND = "application/vnd.oasis.opendocument.spreadsheet"

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "imports"


def open_document(rows: str, kind: str = ODS_KIND, manifest: str = "<m/>") -> bytes:
    """An ODS of one tab."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", kind)
        archive.writestr("content.xml", ODS_HEAD + rows + ODS_TAIL)
        archive.writestr("META-INF/manifest.xml", manifest)
    return out.getvalue()


def test_an_open_document_is_read_with_its_dates_numbers_and_bare_formulas():
    rows = (
        "<table:table-row><table:table-cell"
        ' office:value-type="string"><text:p>pump</text:p></table:table-cell><table:table-cell'
        ' office:value-type="string"><text:p>date</text:p></table:table-cell><table:table-cell'
        ' office:value-type="string"><text:p>mm</text:p></table:table-cell></table:table-row><table:table-row'
        ' table:number-rows-repeated="2"><table:table-cell'
        ' office:value-type="string"><text:p>P-1</text:p></table:table-cell><table:table-cell'
        ' office:value-type="date"'
        ' office:date-value="2020-03-01"><text:p>01.03.20</text:p></table:table-cell><table:table-cell'
        ' office:value-type="float"'
        ' office:value="0.25"><text:p>0,25</text:p></table:table-cell></table:table-row>'
        '<table:table-row><table:table-cell table:number-columns-repeated="2"/><table:table-cell'
        ' table:formula="of:=[.C2]*2"/></table:table-row><table:table-row'
        ' table:number-rows-repeated="1048000"><table:table-cell/></table:table-row>'
    )
    tab = read_sheet(open_document(rows), "h.ods").tabs[0]
    assert tab.name == "Lager" and tab.heading == ["pump", "date", "mm"]
    assert [row.cells for row in tab.rows] == [
        ["P-1", "2020-03-01", "0.25"],
        ["P-1", "2020-03-01", "0.25"],
        ["", "", "=[.C2]*2"],
    ]
    assert tab.rows[0].date_columns == {1} and tab.rows[0].number_columns == {2}


def test_an_open_document_that_is_no_sheet_or_behind_a_password_is_refused():
    text = "application/vnd.oasis.opendocument.text"
    assert "no spreadsheet" in refusal(open_document("", text), "h.odt")
    assert "password" in refusal(open_document("", manifest="<m:encryption-data/>"), "h.ods")


def test_an_old_workbook_is_read_with_its_dates_numbers_and_merged_cells():
    """`old_workbook.xls` was written by the common Python writer of the format."""
    sheet = read_sheet((Path(__file__).parent / "old_workbook.xls").read_bytes(), "old_workbook.xls")
    tab = sheet.tabs[0]
    assert (sheet.kind, tab.name, tab.heading) == ("xls", "Lager", ["Pumpe", "Datum", "Spaltma\u00df mm"])
    assert [row.cells for row in tab.rows] == [["K 1", "2020-03-01", "0.25"], ["", "2021", "0.3"]]
    assert tab.rows[0].date_columns == {1} and tab.rows[0].number_columns == {2}
    assert tab.merged == [(2, 0, 3, 0)]
    assert "XLS" in sheet.remarks[0]


def test_a_workbook_looked_at_again_is_opened_once_and_its_cells_are_objects_of_their_own(monkeypatch):
    data, opened = (FOLDER / "mixed_units.xlsx").read_bytes(), []
    run = subprocess.run
    monkeypatch.setattr(files, "_CHILD_SAID", Recent(2))
    monkeypatch.setattr(subprocess, "run", lambda *words, **more: opened.append(1) or run(*words, **more))
    first, again = read_sheet(data, "h.xlsx"), read_sheet(data, "h.xlsx")
    assert first == again and first.tabs[0].rows[0].cells is not again.tabs[0].rows[0].cells
    assert len(opened) == 1
    assert read_sheet(data, "h.xlsx", most_rows=300) == first and len(opened) == 2  # other orders
