"""The watch list as a table."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from dashboards.watchlist.charts import TimeAxis, date_axis
from dashboards.watchlist.ranking import Watched
from fleet import formatting as show
from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts.judgement.judgement_figures import Word
from inspections.forecasts.judgement.judgement_sentence import WORDS

MOST_NOTES = 3


@dataclass(frozen=True)
class Axes:
    """One span of time for all rows; each row hatches its own site's outages, the head those of the only site
    shown.
    """

    head: TimeAxis
    by_site: Mapping[UUID, TimeAxis]


def _cell(name: str = "", extra: str = "") -> dict:
    """The attributes of a cell; on narrow screens the heading stands beside the value."""
    return {"td": {"data-label": name, "class": extra}, "th": {"class": extra}}


def _column(heading: str, label: str = "", extra: str = "") -> tables.Column:
    return tables.Column(verbose_name=heading, empty_values=(), attrs=_cell(label or heading, extra))


class WatchTable(tables.Table):
    """One row a bearing; the order is the list's own, by the 1 in 10 date."""

    bearing = _column("Bearing", extra="lead")
    last = _column("Last clearance", extra="num")
    wear = _column("Wear, µm per 1000 h", extra="num")
    dates = _column("Clearance, and when the replace limit is reached", extra="bar")
    advice = _column("What to do")
    evidence = _column("Own evidence", extra="num")

    class Meta:
        orderable = False
        attrs = {"class": "rows cards watch"}
        template_name = "fleet/table.html"

    def __init__(self, rows, *, axes: Axes, drawn: Mapping[UUID, SafeString], show_site: bool, **options):
        self.drawn, self.show_site = drawn, show_site
        super().__init__(rows, **options)
        self.columns["dates"].column.verbose_name = format_html(
            "Clearance over time; at its foot, when the replace limit is reached:"
            " <span class='legend'>1 in 10 ▏ even ● 9 in 10</span>{}",
            date_axis(axes.head),
        )

    def render_bearing(self, record: Watched):
        place = record.bearing.place
        site = format_html('<span class="under">{}</span>', place.site.name) if self.show_site else ""
        said = format_html_join(
            "", '<span class="under said">{}</span>', ((n,) for n in record.notes[:MOST_NOTES])
        )
        return format_html(
            '<a href="{}"><b>{}</b> {}</a> {}{}',
            bearing_address(record.bearing),
            place.tag,
            record.bearing.name,
            site,
            said,
        )

    def render_last(self, record: Watched):
        figures = record.figures
        if figures["last_reading_um"] is None:
            return format_html('<span class="under">{}</span>', "none")
        return format_html(
            '{} <span class="under">{}</span>',
            show.um(figures["last_reading_um"]),
            show.day(figures.day("last_reading_on")),
        )

    def render_wear(self, record: Watched):
        f = record.figures
        if f["rate_um_per_kh_p50"] is None or f["outcome"] == "cannot_say":
            return format_html('<span class="under">{}</span>', "cannot say")
        return format_html(
            '{} <span class="under">{}</span>',
            show.rate_figure(f["rate_um_per_kh_p50"]),
            show.rate_range(f["rate_um_per_kh_p10"], f["rate_um_per_kh_p90"]),
        )

    def render_dates(self, record: Watched):
        return self.drawn[record.bearing.pk]

    def render_evidence(self, record: Watched):
        if not record.figures["readings"]:
            return "fleet alone"
        return show.percent(record.figures["own_evidence"])

    def render_advice(self, record: Watched):
        said = record.says
        if record.word == Word.SET_LIMIT:
            said = format_html(
                '{} <a href="{}">Set a limit</a>', said, bearing_address(record.bearing, "bearing-limits")
            )
        if record.word == Word.DECIDE_NOW:
            address = reverse("decide", args=[record.bearing.pk])
            said = format_html('{} <a href="{}">Run on or open</a>', said, address)
        return format_html(
            '<span class="advice advice-{}">{}</span> <span class="says">{}</span>',
            record.word,
            WORDS.get(record.word, ""),
            said,
        )
