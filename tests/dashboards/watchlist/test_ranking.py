"""The order, the groups and the first sentence of the watch list, on plain figures."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import pytest

from dashboards.watchlist.ranking import Asked, Watched, groups, saying, watch_list
from inspections.forecasts.forecast_figures import BEYOND, Figures
from inspections.forecasts.judgement.judgement_figures import Column, Judgement


def _watched(tag="Lift 1", name="DE", site="North", judgement=None, **figures):
    place = SimpleNamespace(
        tag=tag, folded=tag.casefold(), site=SimpleNamespace(name=site, folded=site.casefold())
    )
    place.site_id, place.pk = site, tag
    bearing = SimpleNamespace(place=place, place_id=tag, name=name, folded=name.casefold(), pk=(tag, name))
    known = {
        "outcome": "ok",
        "readings": 3,
        "class": "",
        "next_outage": "spring",
        "next_outage_on": "2027-04-10",
        "following_outage_on": "2028-10-10",
        "replace_date_p10": "2030-01-01",
    }
    return Watched(bearing, Figures(known | figures), judgement=judgement)


def _judged(word: str, waiting_h: float) -> Judgement:
    on = dt.date(2027, 4, 10)
    column = Column("spring", "1", on, on, True, past=0.03, trigger_um=287.0, trigger_is="reading", new=0.4)
    columns = (replace(column, waiting_h=waiting_h),)
    return Judgement(dt.date(2026, 6, 30), word, "cost", columns, first=0, limit_um=345.0)


def test_by_what_waiting_costs_the_dearest_comes_first_and_what_is_past_before_all():
    rows = [
        _watched("A", judgement=_judged("open", 3.0), replace_date_p10="2027-01-01"),
        _watched("B", judgement=_judged("open", 12.0), replace_date_p10="2029-01-01"),
        _watched("C", judgement=_judged("decide_now", 1.0), replace_date_p10="2028-01-01"),
    ]
    tags = lambda asked: [one.bearing.place.tag for one in watch_list(rows, asked).dated]  # noqa: E731
    assert tags(Asked(order="cost")) == ["C", "B", "A"]
    assert tags(Asked()) == ["A", "C", "B"]


def test_a_row_says_the_one_sentence_of_its_judgement():
    said = _watched("A", judgement=_judged("open", 3.0)).says.replace("\u00a0", " ")
    assert said == "Open in April 2027 and look: replace from 287 µm; 4 in 10 it will be."


def test_among_those_past_their_limit_the_one_furthest_over_it_comes_first():
    past = {"replace_date_p10": "2026-06-30", "replace_date_p50": "2026-06-30", "in_service_max_um": 300.0}
    rows = [
        _watched("A", **past, p_replace_now=0.9999, p_max_now=0.5, clearance_um_p50=300.0),
        _watched("B", **past, p_replace_now=0.9991, p_max_now=0.9999, clearance_um_p50=330.0),
        _watched("C", **past, p_replace_now=0.9990, p_max_now=0.9998, clearance_um_p50=390.0),
    ]
    assert [one.bearing.place.tag for one in watch_list(rows, Asked()).dated] == ["C", "B", "A"]


def test_rows_stand_in_the_order_of_the_1_in_10_date_and_those_beyond_come_last():
    rows = [
        _watched("C", replace_date_p10=BEYOND),
        _watched("B", replace_date_p10="2031-05-01"),
        _watched("A", replace_date_p10="2027-01-01"),
    ]
    assert [one.bearing.place.tag for one in watch_list(rows, Asked()).dated] == ["A", "B", "C"]


def test_bearings_without_limit_or_reading_stand_apart_with_what_is_missing():
    rows = [
        _watched("A"),
        _watched("B", outcome="no_limit", replace_date_p10=None),
        _watched("C", readings=0),
    ]
    listed = watch_list(rows, Asked())
    assert [one.bearing.place.tag for one in listed.dated] == ["A"]
    assert [(group.heading, len(group.rows)) for group in groups(listed.shown)[1:]] == [
        ("No limit is set", 1),
        ("No reading yet", 1),
    ]


def test_the_sentence_counts_before_the_outage_and_says_who_sits_together():
    soon = {"replace_date_p10": "2027-01-01"}
    rows = [_watched("A", "DE", **soon), _watched("A", "NDE", outcome="past_limit", **soon), _watched("B")]
    assert (
        saying(watch_list(rows, Asked()))
        == "2 of 3 bearings have at least a 1 in 10 chance of reaching their limit before the outage of "
        "Apr\u00a02027; 1 has passed it already. Two of them sit on A."
    )


def test_in_a_running_outage_the_sentence_counts_before_the_one_that_comes_and_what_is_past_with_it():
    runs = {"as_of": "2026-11-27", "next_outage_on": "2026-11-27", "following_outage_on": "2028-04-13"}
    past = _watched("A", outcome="past_limit", replace_date_p10="2026-11-27", **runs)
    said = saying(watch_list([past, _watched("B", **runs)], Asked()))
    assert said.startswith("1 of 2 bearings has at least a 1 in 10 chance")
    assert said.endswith("before the outage of Apr\u00a02028; 1 has passed it already.")


def test_the_sentence_of_a_list_without_dates_says_so():
    assert "has a date yet" in saying(watch_list([_watched(outcome="cannot_say")], Asked()))


def test_a_bearing_past_the_day_of_its_next_outage_only_is_not_counted_as_soon():
    assert saying(watch_list([_watched(replace_date_p10="2027-04-10")], Asked())).startswith(
        "None of 1 bearing has"
    )


@pytest.mark.parametrize(
    ("asked", "tags"),
    [
        (Asked(site="north"), ["A", "B"]),
        (Asked(pump="b"), ["B"]),
        (Asked(advice="open"), ["B"]),
        (Asked(before="2028-01-01"), ["B"]),
        (Asked(find="b d"), ["B"]),
        (Asked(find="bde"), ["B"]),
        (Asked(wear_class="grit"), ["A"]),
    ],
)
def test_a_filter_keeps_what_it_names(asked, tags):
    rows = [
        _watched("A", **{"class": "Grit"}),
        _watched("B", judgement=_judged("open", 12.0), replace_date_p10="2027-02-01"),
    ]
    assert sorted(one.bearing.place.tag for one in watch_list(rows, asked).dated) == tags


def test_folded_by_outage_a_bearing_stands_under_the_last_outage_before_its_1_in_10_date():
    rows = [
        _watched("A", replace_date_p10="2027-01-01"),
        _watched("B", replace_date_p10="2027-06-01"),
        _watched("C", replace_date_p10="2029-01-01"),
    ]
    headings = [group.heading for group in groups(watch_list(rows, Asked()).shown, "outage")]
    assert headings[0].startswith("No outage left")
    assert headings[1] == "In time at the outage of Apr\u00a02027, North"
    assert headings[2] == "In time at a later outage"


def test_folded_by_pump_both_ends_stand_together():
    rows = [_watched("A", "DE"), _watched("B", "DE"), _watched("A", "NDE")]
    assert [len(group.rows) for group in groups(watch_list(rows, Asked()).shown, "pump")] == [2, 1]


def test_an_unknown_fold_is_no_fold():
    assert Asked.from_query({"fold": "tree"}).fold == ""


def test_the_dated_rows_need_a_reading_even_where_the_fleet_could_say():
    assert not _watched(readings=0).is_dated
    assert _watched().figures.day("replace_date_p10") == dt.date(2030, 1, 1)
