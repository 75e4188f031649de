"""Rows as a data frame with a type for every column, and a data frame's rows for a sheet."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

# The types a column may have. A day is kept to the second, so that every day of the record fits.
DAY, INSTANT, TEXT, WORD = "datetime64[s]", "datetime64[us, UTC]", "string", "category"
NUMBER, COUNT, YES_NO = "float64", "Int64", "boolean"
Columns = Mapping[str, str]


def frame(columns: Columns, rows: Iterable[Sequence[Any]]) -> pd.DataFrame:
    """Rows under typed columns; without rows the columns and their types stand all the same.

    Parameters
    ----------
    columns : mapping
        a column's name to its type, one of those above, in the order of the cells.
    rows : iterable of sequence
        cells as the record holds them: dates (or ISO text of one), decimals, text, None where there is
        nothing.

    Returns
    -------
    DataFrame
        one row each, numbered from 0; a missing day is NaT, a missing number NaN, a missing text or count NA.

    Raises
    ------
    ValueError
        where a row has more or fewer cells than there are columns.

    Examples
    --------
    >>> import datetime as dt
    >>> from decimal import Decimal
    >>> made = frame(
    ...     {"pump": TEXT, "on": DAY, "value_um": NUMBER}, [("P-1", dt.date(2020, 3, 9), Decimal("150"))]
    ... )
    >>> made.dtypes.astype(str).tolist()
    ['string', 'datetime64[s]', 'float64']
    """
    rows = list(rows)
    for row in rows:
        if len(row) != len(columns):
            raise ValueError(f"a row of {len(row)} cells under {len(columns)} columns")
    cells = zip(*rows, strict=True) if rows else ([] for _ in columns)
    return pd.DataFrame(
        {name: _column(list(own), kind) for (name, kind), own in zip(columns.items(), cells, strict=True)}
    )


def _column(cells: list[Any], kind: str) -> "pd.Series[Any]":
    """Cells as one typed column."""
    if kind == DAY:
        return pd.Series(np.array(cells, dtype=DAY))
    if kind == INSTANT:
        return pd.Series(pd.to_datetime(cells, utc=True)).dt.as_unit("us")
    if kind == NUMBER:
        return pd.Series([np.nan if cell is None else float(cell) for cell in cells], dtype=NUMBER)
    dtype: Any = kind  # the stubs know a type's name only where it is written out
    return pd.Series(cells, dtype=dtype)


def sheet_rows(table: pd.DataFrame) -> list[tuple[Any, ...]]:
    """A data frame's rows as `export.csv_bytes` and `export.xlsx_bytes` take them: plain values, None for
    missing ones.

    >>> import datetime as dt
    >>> sheet_rows(frame({"pump": TEXT, "on": DAY}, [("P-1", dt.date(2020, 3, 9)), ("P-2", None)]))
    [('P-1', datetime.date(2020, 3, 9)), ('P-2', None)]
    """
    return list(zip(*(_cells(table[name]) for name in table.columns), strict=True))


def _cells(column: "pd.Series[Any]") -> list[Any]:
    values = column.tolist()
    if str(column.dtype) == DAY:
        return [None if pd.isna(value) else value.date() for value in values]
    return [None if pd.isna(value) else value for value in values]
