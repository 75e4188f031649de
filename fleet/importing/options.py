"""What the user declares about a file as a whole; nothing of it is ever guessed."""

import datetime as dt
from dataclasses import dataclass, replace

from fleet.sheets.files import MOST_ROWS
from fleet.units import BadDateFormat, day_patterns


@dataclass(frozen=True)
class Options:
    """How a file is to be read.

    Parameters
    ----------
    site : str
        the site's name for rows that name none.
    plan : str
        a reading plan's name.
    date_format : str
        as `fleet.units.parse_day` takes it; empty: 2026-03-09, 2026-03 or 2026.
    decimal_comma : bool
        the whole file writes numbers with a decimal comma.
    set_aside : str
        the reason with which rows that have open questions are set aside; empty: they are not.
    dry_run : bool
        check and count, store nothing.
    reopen : bool
        ask again about rows that an earlier import of the file set aside.
    most_rows : int
        of a file with more rows nothing is read.
    today : date, optional
        the latest day it is now at any site; a measurement cannot be of a later one.
    """

    site: str = ""
    plan: str = ""
    date_format: str = ""
    decimal_comma: bool = False
    set_aside: str = ""
    dry_run: bool = False
    reopen: bool = False
    most_rows: int = MOST_ROWS
    today: dt.date | None = None

    def for_workbook_cells(self) -> "Options":
        """The same for cells that a workbook holds as dates and numbers: written here in ISO form, with a
        point.
        """
        return replace(self, date_format="", decimal_comma=False)

    def declared(self) -> dict[str, str]:
        """What is kept with the imported sheet."""
        said = {
            "site": self.site,
            "plan": self.plan,
            "date_format": self.date_format,
            "set_aside": self.set_aside,
        }
        if self.decimal_comma:
            said["decimal"] = "comma"
        return {name: value for name, value in said.items() if value}

    def complaint(self) -> str:
        """Why these options cannot serve, or nothing."""
        if self.date_format:
            try:
                day_patterns(self.date_format)
            except BadDateFormat as error:
                return str(error)
        return ""
