"""The guarded child that opens a workbook (XLSX, XLS, ODS): started by `files.py` with a limit on memory and
time.

It reads one line of orders and the workbook from standard input, and answers in JSON lines: one line per tab,
or one line with a fault. Of ours it imports only the modules beside it, so that a hostile file meets as
little as possible.
"""

import gc
import io
import json
import re
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree
from xml.sax.saxutils import unescape

try:
    import resource
except ImportError:  # no such limits on Windows; the parent's clock still holds there
    resource = None  # type: ignore[assignment]

from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

sys.path.append(
    str(Path(__file__).parent)
)  # an isolated interpreter looks nowhere else for the modules beside it
from cell_texts import NO_RESULT, Fault, row_texts  # type: ignore[import-not-found]
from open_document import formulas_without_result  # type: ignore[import-not-found]

_MACRO_PARTS = re.compile(r"(?i)(^|/)(vbaproject|vbadata)[^/]*$|^/?xl/(macrosheets|intlmacrosheets)/")
_DECLARED_ENCODING = re.compile(rb"""<\?xml[^>]*encoding\s*=\s*["']([^"']*)["']""")
_PLAIN_ENCODINGS = {b"utf-8", b"utf8", b"us-ascii", b"ascii"}


@dataclass(frozen=True)
class Scan:
    """What the XML of one tab says, beside what calamine makes of it."""

    rows_hidden: list[int]
    last_row: int
    claimed: tuple[int, int] | None
    patches: dict[int, dict[int, str]]


def main() -> None:
    """Read orders and workbook, write the tabs; every failure becomes a fault line."""
    gc.disable()  # a short life that makes millions of lists and no circles
    orders = json.loads(sys.stdin.buffer.readline())
    _limit(orders)
    data = sys.stdin.buffer.read()
    try:
        for tab in _tabs(data, orders):
            sys.stdout.write(json.dumps(tab, separators=(",", ":")) + "\n")
    except Fault as fault:
        _answer_fault(str(fault))
    except MemoryError:
        _answer_fault(
            "the workbook needs more memory than a sheet of measurements may; save only the rows needed"
        )
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException as error:  # calamine's panics are no Exception
        kind = type(error).__name__
        _answer_fault(f"the workbook is damaged ({kind}); open it in a spreadsheet program and save it again")


def _answer_fault(sentence: str) -> None:
    sys.stdout.write(json.dumps({"fault": sentence}) + "\n")


def _limit(orders: dict[str, Any]) -> None:
    """Bound this process's memory and time; it writes no files and leaves no core."""
    if resource is None:
        return
    for kind, bound in (
        (resource.RLIMIT_AS, orders["memory"]),
        (resource.RLIMIT_CPU, orders["cpu_seconds"]),
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_FSIZE, 0),
    ):
        resource.setrlimit(kind, (bound, bound))


def _tabs(data: bytes, orders: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The wanted tabs, each as a JSON-ready dictionary."""
    if not data.startswith(b"PK"):
        yield from _plain_tabs(data, orders, {})
        return
    parcel = _opened(data, orders)
    _check_texts(parcel)
    if "content.xml" in parcel.namelist():
        yield from _plain_tabs(data, orders, formulas_without_result(parcel.read("content.xml"), NO_RESULT))
        return
    workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
    tabs = [m for m in workbook.sheets_metadata if m.typ == SheetTypeEnum.WorkSheet]
    parts = _parts_of_tabs(parcel)
    padded = _zero_padded_styles(parcel)
    n_rows_left, n_cells_left = orders["rows"], orders["cells"]
    for meta in _wanted(tabs, orders["tab"]):
        part = parts.get(meta.name)
        if part is None:
            raise Fault(f"tab {meta.name} has no sheet behind it; save the workbook again")
        scan = _scan(parcel.read(part), padded, orders, meta.name)
        rows = _rows(
            workbook.get_sheet_by_name(meta.name),
            scan,
            n_rows_left,
            n_cells_left,
            meta.name,
            orders,
        )
        n_rows_left -= len(rows["rows"])
        n_cells_left -= len(rows["rows"]) * rows["width"]
        hidden = meta.visible != SheetVisibleEnum.Visible
        yield {
            "name": meta.name,
            "hidden": hidden,
            "rows_hidden": scan.rows_hidden,
            **rows,
        }


def _plain_tabs(
    data: bytes, orders: dict[str, Any], patches: dict[str, dict[int, dict[int, str]]]
) -> Iterator[dict[str, Any]]:
    """The wanted tabs of a workbook whose parts are not looked at one by one (XLS, ODS)."""
    workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
    tabs = [m for m in workbook.sheets_metadata if m.typ == SheetTypeEnum.WorkSheet]
    n_rows_left, n_cells_left = orders["rows"], orders["cells"]
    for meta in _wanted(tabs, orders["tab"]):
        scan = Scan([], 0, None, patches.get(meta.name, {}))
        sheet = workbook.get_sheet_by_name(meta.name)
        rows = _rows(sheet, scan, n_rows_left, n_cells_left, meta.name, orders)
        n_rows_left -= len(rows["rows"])
        n_cells_left -= len(rows["rows"]) * rows["width"]
        hidden = meta.visible != SheetVisibleEnum.Visible
        yield {"name": meta.name, "hidden": hidden, "rows_hidden": [], **rows}


def _wanted(tabs: list[Any], tab: str | int | None) -> list[Any]:
    """All tabs, the named one, or the n-th of those not hidden."""
    if not tabs:
        raise Fault("the workbook holds no sheet; save the rows as a sheet or as CSV")
    if tab is None:
        return tabs
    if isinstance(tab, int):
        seen = [m for m in tabs if m.visible == SheetVisibleEnum.Visible]
        if tab >= len(seen):
            raise Fault(
                f"tab number {tab + 1} asked for, the workbook shows {len(seen)}; unhide it or name the tab"
            )
        return [seen[tab]]
    named = [m for m in tabs if m.name == tab]
    if not named:
        raise Fault(
            f"tab {tab!r} asked for, the workbook has {', '.join(m.name for m in tabs)}; name one of these"
        )
    return named


# the parcel ------------------------------------------------------------------------------------------------


def _opened(data: bytes, orders: dict[str, Any]) -> zipfile.ZipFile:
    """The workbook's parcel, refused before anything is unpacked when its list of parts is not a sheet's."""
    try:
        parcel = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, OverflowError, UnicodeDecodeError):
        raise Fault(
            "the workbook is cut off or damaged; open it in a spreadsheet program and save it again"
        ) from None
    parts = parcel.infolist()
    names = {part.filename for part in parts}
    if len(parts) > orders["entries"]:
        raise Fault(
            f"{len(parts)} parts inside, at most {orders['entries']} expected; save only the sheet needed"
        )
    if len(names) != len(parts):
        raise Fault(
            "one part stands twice inside the workbook; open it in a spreadsheet program and save it again"
        )
    if any(part.flag_bits & 1 for part in parts):
        raise Fault("the workbook is encrypted; take off the password and save it again")
    if any(part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for part in parts):
        raise Fault(
            "the workbook is packed in an unusual way; open it in a spreadsheet program and save it again"
        )
    _check_kind(names)
    _check_sizes(parts, orders)
    if "content.xml" in names:
        _check_open_document(parcel, names)
    return parcel


def _check_open_document(parcel: zipfile.ZipFile, names: set[str]) -> None:
    """A spreadsheet and no text or drawing, and not behind a password."""
    kind = parcel.read("mimetype") if "mimetype" in names else b""
    if not kind.strip().startswith(b"application/vnd.oasis.opendocument.spreadsheet"):
        raise Fault("an OpenDocument file that is no spreadsheet found; save the rows as ODS, XLSX or CSV")
    if "META-INF/manifest.xml" in names and b"encryption-data" in parcel.read("META-INF/manifest.xml"):
        raise Fault("the workbook is protected by a password; take it off and save the workbook again")


def _check_kind(names: set[str]) -> None:
    """A workbook of cells: no macros, no binary workbook, no other archive."""
    if any(_MACRO_PARTS.search(name) for name in names):
        raise Fault("the workbook carries macros; save it as XLSX without macros")
    if "xl/workbook.bin" in names:
        raise Fault("a binary workbook (XLSB) found, XLSX or CSV expected; save it as XLSX")
    if any(name.startswith("Basic/") for name in names):
        raise Fault("the workbook carries macros; save it without macros")
    if "content.xml" in names:
        return
    if "xl/workbook.xml" not in names:
        raise Fault("a ZIP archive that holds no XLSX workbook found, XLSX or CSV expected; unpack it first")


def _check_sizes(parts: list[zipfile.ZipInfo], orders: dict[str, Any]) -> None:
    """A small parcel that claims to unpack to very much is refused unopened."""
    unpacked = sum(part.file_size for part in parts)
    if unpacked > orders["unpacked"]:
        size, most = unpacked // 1_000_000, orders["unpacked"] // 1_000_000
        raise Fault(f"{size} MB when unpacked, at most {most} MB allowed; split the sheet")
    for part in parts:
        if part.file_size > 1_000_000 and part.file_size > orders["ratio"] * max(part.compress_size, 1):
            raise Fault(
                f"a part unpacks to {part.file_size // max(part.compress_size, 1)} times its size, at most "
                f"{orders['ratio']} times allowed; copy the rows into a new sheet and save that"
            )


def _check_texts(parcel: zipfile.ZipFile) -> None:
    """Every XML part unpacks to what it claims, is UTF-8, and declares no document type or entity."""
    for part in parcel.infolist():
        if not part.filename.lower().endswith((".xml", ".rels", ".vml")):
            continue
        try:
            text = parcel.read(part)
        except (zipfile.BadZipFile, EOFError, OSError, ValueError, zipfile.zlib.error):  # type: ignore[attr-defined]
            raise Fault("a part does not unpack to what it claims; save the workbook again") from None
        encoding = _DECLARED_ENCODING.search(text[:200])
        if b"\x00" in text or (encoding and encoding[1].lower() not in _PLAIN_ENCODINGS):
            raise Fault("a part is not written in UTF-8; open it in a spreadsheet program and save it again")
        if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
            raise Fault(
                "the workbook declares entities, which no sheet needs; copy the rows into a new sheet"
            )
        if part.filename == "[Content_Types].xml" and b"macroEnabled" in text:
            raise Fault("the workbook is declared as one with macros; save it as XLSX without macros")


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _parts_of_tabs(parcel: zipfile.ZipFile) -> dict[str, str]:
    """Tab names and the parts their cells stand in."""
    names = set(parcel.namelist())
    targets: dict[str, str] = {}
    if "xl/_rels/workbook.xml.rels" in names:
        for link in ElementTree.fromstring(parcel.read("xl/_rels/workbook.xml.rels")):
            target = link.get("Target", "")
            targets[link.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
    parts: dict[str, str] = {}
    for element in ElementTree.fromstring(parcel.read("xl/workbook.xml")).iter():
        if _local(element.tag) == "sheet":
            key = next((value for name, value in element.items() if _local(name) == "id"), "")
            if targets.get(key) in names:
                parts[element.get("name", "")] = targets[key]
    return parts


def _zero_padded_styles(parcel: zipfile.ZipFile) -> dict[int, int]:
    """Styles that show a whole number with leading noughts (`0000`), and how many digits each shows."""
    if "xl/styles.xml" not in parcel.namelist():
        return {}
    root = ElementTree.fromstring(parcel.read("xl/styles.xml"))
    widths = {
        element.get("numFmtId"): len(code)
        for element in root.iter()
        if _local(element.tag) == "numFmt" and re.fullmatch("0{2,30}", code := element.get("formatCode", ""))
    }
    formats = next((list(e) for e in root if _local(e.tag) == "cellXfs"), [])
    return {n: widths[f.get("numFmtId")] for n, f in enumerate(formats) if f.get("numFmtId") in widths}


# one tab's XML ---------------------------------------------------------------------------------------------


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _scan(xml: bytes, padded: dict[int, int], orders: dict[str, Any], tab: str) -> Scan:
    """Check one tab's XML for what calamine would pass over in silence or die of."""
    first, *others = xml.split(b"<!--")
    xml = first + b"".join(piece.partition(b"-->")[2] for piece in others)
    root = re.search(rb"<(?:([A-Za-z_][\w.-]*):)?worksheet\b", xml)
    if root is None:
        raise Fault(f"tab {tab} is no sheet of cells; save the workbook again")
    p = rb"(?:%s:)" % root[1] if root[1] else b""
    last_row, hidden = _check_rows(xml, p, orders, tab)
    _check_columns(xml, p, orders, tab)
    patches = _patches(xml, p, padded)
    for row, cells in _formulas_without_result(xml, p).items():
        patches.setdefault(row, {}).update(cells)
    return Scan(hidden, last_row, _claimed_end(xml, p), patches)


def _check_rows(xml: bytes, p: bytes, orders: dict[str, Any], tab: str) -> tuple[int, list[int]]:
    """The last row that holds a value, and the hidden rows; rows out of order or twice are refused."""
    end = max(xml.rfind(mark) for mark in (b"</v>", b"</is>", b"</%sv>" % p[3:-1], b"</%sis>" % p[3:-1]))
    last, previous, hidden, n_valued = 0, 0, [], 0
    for found in re.finditer(rb"<%srow\b([^<>]*)>" % p, xml):
        number = re.search(rb"""\br\s*=\s*["'](\d{1,9})["']""", found[1])
        this = int(number[1]) if number else previous + 1
        if this <= previous:
            raise Fault(f"tab {tab} holds row {this} twice or out of order; save the workbook again")
        previous = this
        if found.start() < end:
            last, n_valued = this, n_valued + 1
            if re.search(rb"""\bhidden\s*=\s*["'](?:1|true)["']""", found[1]):
                hidden.append(this)
    if last > orders["rows"]:
        if n_valued > orders["rows"]:
            raise Fault(
                f"tab {tab} holds {n_valued} rows, at most {orders['rows']} are read at once;"
                f" {orders['advice']}"
            )
        raise Fault(
            f"tab {tab} has a cell in row {last}, far below the rest; delete the rows below the last reading"
        )
    return last, hidden


def _check_columns(xml: bytes, p: bytes, orders: dict[str, Any], tab: str) -> None:
    """A value to the right of the widest allowed sheet is refused by name (calamine would
    fill all between).
    """
    far = (
        rb"""<%sc\b[^<>]*?\br\s*=\s*["']((?:[A-Z]{3,}|[H-Z][A-Z]|G[S-Z])\d+)["'][^<>]*(?<!/)>(?!\s*</)""" % p
    )
    found = re.search(far, xml)
    if found and _column_number(found[1].rstrip(b"0123456789")) > orders["columns"]:
        raise Fault(
            f"tab {tab} has a cell in {found[1].decode()}, and at most {orders['columns']} columns are read; "
            "delete what stands to the right of the table"
        )


def _formulas_without_result(xml: bytes, p: bytes) -> dict[int, dict[int, str]]:
    """Cells with a formula saved without its result, which would be read as blank; a result that is blank
    text is none.
    """
    no_result = rb"(?:/>|>([^<]*)</%sf>)\s*(?:<%sv\s*/>|<%sv>\s*</%sv>)?\s*</%sc>" % (p, p, p, p, p)
    patches: dict[int, dict[int, str]] = {}
    for found in re.finditer(rb"<%sf(?:\s[^<>]*?)?" % p + no_result, xml):
        start = xml.rfind(b":c " if p else b"<c ", max(0, found.start() - 500), found.start())
        opening = xml[max(0, start) : found.start()]
        if re.search(rb"""\bt\s*=\s*["']str["']""", opening):
            continue
        cell = re.search(rb"""\br\s*=\s*["']([A-Z]+)(\d{1,9})["']""", opening)
        if cell is None:
            raise Fault(
                "a formula without a result stands in a cell that has no name; open the workbook in a"
                " spreadsheet program and save it again, or paste the values"
            )
        formula = unescape((found[1] or b"").decode("utf-8", "replace")).strip()
        text = f"={formula}" if formula else NO_RESULT
        patches.setdefault(int(cell[2]), {})[_column_number(cell[1]) - 1] = text
    return patches


def _claimed_end(xml: bytes, p: bytes) -> tuple[int, int] | None:
    """The last row and column the sheet claims; a single cell is a writer's placeholder
    and claims nothing.
    """
    found = re.search(rb"""<%sdimension\b[^<>]*\bref\s*=\s*["'][A-Z]+\d+:([A-Z]+)(\d+)["']""" % p, xml)
    if found is None or (found[1], found[2]) == (b"A", b"1"):
        return None
    return int(found[2]), _column_number(found[1])


def _patches(xml: bytes, p: bytes, padded: dict[int, int]) -> dict[int, dict[int, str]]:
    """Cells calamine shows otherwise than the sheet: errors (as blank) and numbers with leading noughts."""
    wanted = [rb"""\bt\s*=\s*["']e["']"""] if b'"e"' in xml or b"'e'" in xml else []
    wanted += [rb"""\bs\s*=\s*["']%d["']""" % style for style in padded]
    if not wanted:
        return {}
    patches: dict[int, dict[int, str]] = {}
    pattern = rb"<%sc\b(?=[^<>]*(?:%s))([^<>]*)(?<!/)>(?:(?!</%sc>).)*?<%sv>([^<]*)</" % (
        p,
        b"|".join(wanted),
        p,
        p,
    )
    for found in re.finditer(pattern, xml, re.DOTALL):
        attributes = dict(re.findall(rb"""\b(r|s|t)\s*=\s*["']([^"']*)["']""", found[1]))
        place = re.fullmatch(rb"([A-Z]+)(\d+)", attributes.get(b"r", b""))
        text = _patch_text(attributes, found[2], padded)
        if place and text is not None:
            patches.setdefault(int(place[2]), {})[_column_number(place[1]) - 1] = text
    return patches


def _patch_text(attributes: dict[bytes, bytes], value: bytes, padded: dict[int, int]) -> str | None:
    kind = attributes.get(b"t", b"n")
    if kind == b"e":
        return value.decode()
    width = padded.get(int(attributes.get(b"s", b"0")))
    if kind != b"n" or width is None or not re.fullmatch(rb"\d+", value):
        return None
    return value.decode().zfill(width)


def _rows(
    sheet: Any, scan: Scan, n_rows: int, n_cells: int, tab: str, orders: dict[str, Any]
) -> dict[str, Any]:
    """The tab's rows from row 1 to the last that holds anything, as [number, cells, date
    and number columns].
    """
    if sheet.start is None and not scan.patches:
        return {"width": 0, "rows": [], "merged": []}
    (last, right), left = (sheet.end, sheet.start[1]) if sheet.start else ((0, 0), 0)
    _check_end(scan, last + 1, right + 1, tab)
    if right >= orders["columns"]:
        raise Fault(
            f"tab {tab} has {right + 1} columns, at most {orders['columns']} are read; delete the others"
        )
    if last >= n_rows or (last + 1) * (right + 1) > n_cells:
        raise Fault(
            f"tab {tab} holds {last + 1} rows by {right + 1} columns, too many to read at once; split it"
        )
    return {
        "width": right + 1,
        "rows": list(row_texts(sheet.iter_rows(), [""] * left, scan.patches, orders, tab)),
        "merged": [[a + 1, b, c + 1, d] for (a, b), (c, d) in sheet.merged_cell_ranges or []],
    }


def _check_end(scan: Scan, last: int, right: int, tab: str) -> None:
    """What the sheet claims, what its XML holds and what was read must agree, or rows would be lost in
    silence.
    """
    if scan.claimed and (last > scan.claimed[0] or right > scan.claimed[1]):
        raise Fault(
            f"tab {tab} claims to end at row {scan.claimed[0]}, column {scan.claimed[1]} but reaches row"
            f" {last}, column {right}; open it in a spreadsheet program and save it again"
        )
    if scan.last_row > last and scan.last_row not in scan.patches:
        raise Fault(
            f"tab {tab} reaches row {scan.last_row} but only {last} could be read; save the workbook again"
        )


if __name__ == "__main__":
    main()
