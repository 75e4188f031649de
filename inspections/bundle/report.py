"""The bundle's PDF: the chart, the dates in words, limits in force, the story and who said what, on paper."""

from pathlib import Path
from typing import Any

from django.template.loader import render_to_string

from fleet.models import Bearing, Limit, Seal
from inspections.forecasts import bearing_facts
from inspections.forecasts.bearing_words import bearing_words
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.wear_inputs import Known
from inspections.story.audit_trail import LedgerStory
from inspections.story.entry_words import LIMITS
from inspections.trend import charts
from inspections.trend.values import Trend

STYLE = Path(__file__).parent.parent / "static" / "inspections" / "report.css"


class NoPrinter(Exception):
    """The machine lacks what WeasyPrint draws with."""


def report_pdf(
    bearing: Bearing,
    told: LedgerStory,
    judged: tuple[Figures, Judgement],
    known: Known,
    trend: Trend,
    *,
    last_seal: Seal | None,
    checker: str,
    by: object,
) -> bytes:
    """The report as PDF bytes; nothing is fetched from anywhere.

    Parameters
    ----------
    judged : (Figures, Judgement)
        the forecast of the day and what stands by it, in the words of the bearing's page.
    last_seal : Seal or None
        the last before the bundle's own, which is made behind the report.
    checker : str
        SHA-256 of the bundle's checker.

    Raises
    ------
    NoPrinter
        where the system library pango is missing.
    """
    context = {
        "bearing": bearing,
        "place": bearing.place,
        "told": told,
        "today": known.as_of,
        "seal": last_seal,
        "checker": checker,
        "picture": charts.trend_svg(trend, ident="report"),
        "words": bearing_words(*judged, known.as_of),
        "by": by,
        "limits": limits_in_force(bearing, known),
        "missing": bearing_facts.missing_words(known),
    }
    return pdf_of(render_to_string("inspections/report.html", context))


def limits_in_force(bearing: Bearing, known: Known) -> list[tuple[str, Limit]]:
    """The limits that hold on the day of the report, each with its word."""
    rows = Limit.objects.filter(bearing=bearing).holding_on(known.as_of, "use", "quantity")
    return [(LIMITS.get(use, use), row) for (use, _), row in sorted(rows.items()) if row.value_um is not None]


def must_be_able_to_print() -> None:
    """Refuse before anything is written where the PDF could not be made.

    Raises
    ------
    NoPrinter
    """
    try:
        import weasyprint  # noqa: F401  needs the system's pango: told in a sentence where it is missing
    except OSError as missing:
        raise NoPrinter(
            "The PDF needs the system library pango, which this machine lacks. Install it (on Debian: "
            f"libpango-1.0-0 and libpangoft2-1.0-0) and ask again. ({missing})"
        ) from None


def pdf_of(html: str) -> bytes:
    """A page as PDF; the page holds all it needs, and asking for more is an error."""
    from weasyprint import CSS, HTML

    def fetch_nothing(url: str, *_: Any, **__: Any) -> Any:
        raise ValueError(f"a report fetches nothing; {url[:60]} was asked for")

    return HTML(string=html, url_fetcher=fetch_nothing).write_pdf(stylesheets=[CSS(filename=STYLE)])
