"""Days as old sheets write them: the declared formats, workbook dates, years, and seasons once somebody says
which months.
"""

import datetime as dt
import re
from functools import lru_cache

from fleet.importing.answers import Answers
from fleet.importing.reading_plans.value_notation import Odd
from fleet.units import NotADay, Unreadable, parse_day

_SEASONS = ("spring", "summer", "autumn", "fall", "winter")
_SEASON = re.compile(
    r"(?=.*\b(?P<season>spring|summer|autumn|fall|winter)\b)(?=.*\b(?P<year>(?:19|20)[0-9]{2})\b).*",
    re.IGNORECASE | re.DOTALL,
)
_MONTHS = {
    "north": {"spring": (3, 5), "summer": (6, 8), "autumn": (9, 11), "fall": (9, 11), "winter": (12, 14)},
    "south": {"spring": (9, 11), "summer": (12, 14), "autumn": (3, 5), "fall": (3, 5), "winter": (6, 8)},
}


class Days:
    """Reads the days of one sheet."""

    def __init__(self, date_format: str, answers: Answers) -> None:
        self.date_format, self.answers = date_format, answers
        self.first_of = lru_cache(maxsize=20_000)(self._first_of)

    def read(self, text: str, held: int) -> str | Odd | None:
        """The day in ISO form (`2014-03`, `2011-03..2011-05`); a question; None where the template's own
        reading will say.
        """
        if held == 1:
            return text[:10]
        season = _SEASON.fullmatch(text)
        if season:
            return self._season(season["season"].lower(), int(season["year"]))
        if re.fullmatch(r"(19|20)[0-9]{2}", text):
            return text
        try:
            day = parse_day(text, self.date_format or None)
        except Unreadable:
            return None
        return {"day": f"{day.first}", "month": f"{day.first:%Y-%m}", "year": f"{day.first:%Y}"}[
            day.precision
        ]

    def _season(self, season: str, year: int) -> str | Odd:
        said = self.answers.of("season", "")
        if said and said[0] == "year":
            return str(year)
        if not said or said[0] not in _MONTHS:
            return Odd("season", "")
        first, last = _MONTHS[said[0]][season]
        return f"{_month(year, first)}..{_month(year, last)}"

    def _first_of(self, text: str, held: int) -> dt.date | None:
        read = self.read(text, held)
        if isinstance(read, Odd):
            found = _SEASON.fullmatch(text)
            return (
                dt.date(int(found["year"]), _MONTHS["north"][found["season"].lower()][0] % 12 or 12, 1)
                if found
                else None
            )
        if not read:
            return None
        try:
            return parse_day(read.partition("..")[0]).first
        except NotADay:
            return None


def _month(year: int, month: int) -> str:
    """A month counted on past December."""
    return f"{year + (month - 1) // 12}-{(month - 1) % 12 + 1:02d}"
