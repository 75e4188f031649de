"""The empty sheets that a plant can download and fill in."""

from dataclasses import dataclass

from django.urls import reverse

from fleet.importing.loaders import LOADERS, loaders
from fleet.models import Sheet
from fleet.sheets.export import csv_bytes, xlsx_bytes

WORDS = {
    Sheet.Holds.REGISTER.value: "one row per bearing: pump, position, journal, limits, shell",
    Sheet.Holds.HISTORY.value: "readings, scrapes, new shells, other work, run hours",
    Sheet.Holds.OUTAGES.value: "when machines can be opened, and the crew hours there are",
    Sheet.Holds.SPARES.value: "spare shells in store or coming back",
    Sheet.Holds.WORK_HOURS.value: "crew hours to open, measure, scrape and replace",
    Sheet.Holds.PLANNED_DUTY.value: "how pumps are meant to run: hours a day and starts, by period",
}


@dataclass(frozen=True)
class TemplateSheet:
    """One downloadable sheet."""

    holds: str
    name: str
    words: str
    csv_url: str
    xlsx_url: str


def template_sheets() -> list[TemplateSheet]:
    """Every kind of sheet that can be brought, in the order in which a plant needs them."""
    sheets = []
    for holds in loaders():
        url = reverse("import-template", args=[holds])
        name = str(Sheet.Holds(holds).label)
        sheets.append(TemplateSheet(holds, name, WORDS.get(holds, ""), url, f"{url}?as=xlsx"))
    return sheets


def template_file(holds: str, kind: str = "csv") -> tuple[bytes, str]:
    """The headings of a sheet as a CSV or XLSX file, and its content type.

    Raises
    ------
    LookupError
        for a kind of sheet nobody registered.
    """
    headings = [column.name for column in LOADERS[holds].columns]
    if kind == "xlsx":
        content_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
        return xlsx_bytes(headings, [], sheet_name=holds), content_type
    return csv_bytes(headings, [], mark=True), "text/csv; charset=utf-8"
