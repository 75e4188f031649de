"""What the XML of an OpenDocument spreadsheet says beside its cells; used by the guarded child, knows nothing
of ours.
"""

import io
import re
from xml.etree import ElementTree

_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_VALUE_TYPE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}value-type"
_MAYBE = re.compile(rb"<table:table-cell\b(?=[^<>]*table:formula)(?![^<>]*value-type)[^<>]*>")
MOST_REPEATED = 1000


def formulas_without_result(xml: bytes, no_result: str) -> dict[str, dict[int, dict[int, str]]]:
    """Tab name to row (from 1) to column (from 0) of every formula saved without its
    result, with its text.
    """
    if not _MAYBE.search(xml):
        return {}
    found: dict[str, dict[int, dict[int, str]]] = {}
    tab, row, column, n_rows = "", 0, 0, 1
    for event, element in ElementTree.iterparse(io.BytesIO(xml), events=("start", "end")):
        if event == "start" and element.tag == f"{_TABLE}table":
            tab, row = element.get(f"{_TABLE}name", ""), 0
        elif event == "start" and element.tag == f"{_TABLE}table-row":
            column, n_rows = 0, int(element.get(f"{_TABLE}number-rows-repeated", "1"))
        elif event == "end" and element.tag in (f"{_TABLE}table-cell", f"{_TABLE}covered-table-cell"):
            formula = element.get(f"{_TABLE}formula")
            n_columns = int(element.get(f"{_TABLE}number-columns-repeated", "1"))
            if formula is not None and element.get(_VALUE_TYPE) is None:
                text = f"={formula.partition('=')[2]}" if "=" in formula else no_result
                for r in range(row + 1, row + 1 + min(n_rows, MOST_REPEATED)):
                    cells = found.setdefault(tab, {}).setdefault(r, {})
                    cells.update({column + k: text for k in range(min(n_columns, MOST_REPEATED))})
            column += n_columns
        elif event == "end" and element.tag == f"{_TABLE}table-row":
            row += n_rows
            element.clear()
    return found
