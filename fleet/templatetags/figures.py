"""Every number and day on a page: the functions of `fleet.formatting` as filters of their own names."""

from django import template

from fleet import formatting

register = template.Library()
for _filter in (
    formatting.um,
    formatting.in_unit,
    formatting.um_figure,
    formatting.um_step,
    formatting.mm,
    formatting.rpm,
    formatting.rate_figure,
    formatting.rate,
    formatting.chance,
    formatting.percent,
    formatting.hours,
    formatting.run_hours,
    formatting.cut_underscores,
    formatting.tilded,
    formatting.count,
    formatting.day,
    formatting.day_words,
    formatting.days_ago,
):
    register.filter(_filter.__name__, _filter)
for _tag in (
    formatting.um_range,
    formatting.unit_range,
    formatting.rate_range,
    formatting.counted,
):
    register.simple_tag(_tag)
