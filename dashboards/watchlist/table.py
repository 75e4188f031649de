"""The watch list as a table."""

from collections.abc import Mapping
from dataclasses import dataclass

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html, format_html_join

from dashboards.watchlist.charts import TimeAxis, clearance_bar, date_axis, date_bar
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
    by_site: Mapping[object, TimeAxis]

    def of(self, record: Watched) -> TimeAxis:
        return self.by_site.get(record.bearing.place.site_id, self.head)


def _cell(name: str = "", extra: str = "") -> dict:
    """The attributes of a cell; on narrow screens the heading stands beside the value."""
    return {"td": {"data-label": name, "class": extra}, "th": {"class": extra}}


def _column(heading: str, label: str = "", extra: str = "") -> tables.Column:
    return tables.Column(verbose_name=heading, empty_values=(), attrs=_cell(label or heading, extra))


class WatchTable(tables.Table):
    """One row a bearing; the order is the list's own, by the 1 in 10 date."""

    bearing = _column("Bearing", extra="lead")
    last = _column("Last clearance", extra="num")
    way = _column("New to limit", extra="gauge")
    wear = _column("Wear, µm per 1000 h", extra="num")
    dates = _column("Reaches the replace limit", extra="bar")
    advice = _column("What to do")
    evidence = _column("Own evidence", extra="num")

    class Meta:
        orderable = False
        attrs = {"class": "rows cards watch"}
        template_name = "fleet/table.html"

    def __init__(self, rows, *, axes: Axes, show_site: bool, **options):
        self.axes, self.show_site = axes, show_site
        super().__init__(rows, **options)
        self.columns["dates"].column.verbose_name = format_html(
            "Reaches the replace limit: <span class='legend'>1 in 10 ▏ even ● 9 in 10</span>{}",
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

    def render_way(self, record: Watched):
        f = record.figures
        if not f["readings"]:
            return ""
        return clearance_bar(
            f["clearance_um_p50"], f["new_um"], f["replace_limit_um"], f["in_service_max_um"]
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
        f = record.figures
        names = ("replace_date_p10", "replace_date_p50", "replace_date_p90")
        return date_bar(
            *(None if record.has_no_life else f.day(name) for name in names),
            axis=self.axes.of(record),
            past=record.is_past,
            beyond=tuple(f.is_beyond(name) and not record.has_no_life for name in names),
            note=_note(record),
        )

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


def _note(record: Watched) -> str:
    """What stands in place of a bar."""
    if record.is_past:
        return "limit already passed"
    if record.has_no_life:
        return "a limit or the bore is wrong"
    outcome = record.figures["outcome"]
    if not record.figures["readings"] and outcome != "no_limit":
        return "no reading yet"
    return {"no_limit": "no limit set", "cannot_say": "cannot say yet"}.get(outcome, "no date")
