"""Typed tables of the record and the forecasts: what is in them, for whom, and what they cost."""

import datetime as dt
import re
from io import BytesIO

import openpyxl
import pandas as pd
import pytest
from django.core.management import CommandError, call_command

from dashboards.outage_plan.plan_frames import lines_of, plan_lines
from fleet.sheets.frames import sheet_rows
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.frames import SHEET, events, figures_frame, forecast_sheet, forecasts, readings
from inspections.forecasts.judgement.judgement_figures import Column, Judgement, Why, Word
from tests import makers
from tests.conftest import CHECKOUT

pytestmark = pytest.mark.django_db


def two_sites():
    """A reading and a scrape at each of two sites, and an engineer of the first."""
    own, other = makers.a_site(), makers.a_site()
    for site, value in ((own, "0.150"), (other, "0.160")):
        bearing = makers.a_bearing(place=makers.a_place(site=site, positions=("DE",)))
        makers.a_reading(bearing=bearing, value=value)
        makers.an_event(bearing=bearing)
    return own, makers.an_account(site=own)


def test_of_another_site_no_row_comes():
    own, account = two_sites()
    for table in (readings(account), events(account), forecasts(account)):
        assert table["site"].tolist() == [own.name]
    assert plan_lines(account).empty


def test_without_the_role_to_export_nothing_is_handed_out():
    own, _ = two_sites()
    mechanic = makers.an_account(role="mechanic", site=own)
    assert len(readings(mechanic)) == 1
    assert readings(mechanic, act="export").empty and forecasts(mechanic, act="export").empty


def test_every_column_has_its_type_with_rows_and_without():
    _, account = two_sites()
    stranger = makers.an_account(role="")
    for table in (readings, events, forecasts):
        full, empty = table(account), table(stranger)
        assert len(full) == 1 and empty.empty
        plain = {name: str(kind) for name, kind in full.dtypes.items()}
        assert {name: str(kind) for name, kind in empty.dtypes.items()} == plain
    kinds = readings(account).dtypes.astype(str)
    assert kinds["value_um"] == "float64" and kinds["on"] == "datetime64[s]" and kinds["method"] == "category"
    assert lines_of([]).dtypes["p_max_before_work"] == "float64"


def test_a_reading_stands_as_typed_and_in_micrometres_and_names_its_entry():
    reading = makers.a_reading(value="6", unit="mil")
    (row,) = readings(makers.an_account()).to_dict("records")
    assert (row["typed"], row["unit"], row["value_um"]) == ("6", "mil", 152.4)
    assert (row["chain"], row["entry"]) == (reading.chain, reading.entry_n)
    assert row["on"] == pd.Timestamp(makers.THE_DAY) and pd.isna(row["clock"])


def test_an_event_says_what_it_does_to_the_series_and_a_whole_pumps_names_no_position():
    place = makers.a_place()
    makers.an_event(kind="scrape", bearing=makers.a_bearing(place=place))
    makers.an_event(kind="oil", place=place, on=dt.date(2021, 3, 9))
    made = events(makers.an_account())
    assert made["effect"].tolist() == ["step", "rate_break"]
    assert made["position"].isna().tolist() == [False, True]


def test_a_date_beyond_the_horizon_is_told_from_none_and_comes_back_in_the_sheet():
    forecast = [
        (
            Figures({"replace_date_p50": "beyond", "max_date_p05": "2031-05-04", "rate_um_per_kh_p50": 1.25}),
            None,
        ),
        (Figures({"advice": "replace"}), None),
    ]
    made = figures_frame(forecast)
    assert made["replace_date_p50"].isna().all()
    assert made["replace_date_p50_beyond"].tolist() == [True, False]
    assert made["max_date_p05"][0] == pd.Timestamp(2031, 5, 4)
    said = [dict(zip(SHEET, row, strict=True)) for row in forecast_sheet(made)]
    assert said[0]["replace_date_p50"] == "beyond" and said[0]["max_date_p05"] == dt.date(2031, 5, 4)
    assert set(said[1].values()) == {None}


def test_the_forecast_sheet_says_the_judgements_word_and_trigger_and_never_replace_from_afar():
    outage = {"outage": "1", "start_on": dt.date(2027, 5, 4), "end_on": dt.date(2027, 5, 20), "known": True}
    at = Column(
        "spring 2027", past=0.03, trigger_um=287.0, scrape_from_um=275.0, new=0.4, waiting_h=12.5, **outage
    )
    judged = Judgement(dt.date(2026, 6, 1), Word.OPEN, Why.COST, (at,), first=0)
    (row,) = forecast_sheet(figures_frame([(Figures({"advice": "replace"}), judged)]))
    said = dict(zip(SHEET, row, strict=True))
    assert said["advice"] == "open" and SHEET[-6:] == tuple(list(said)[-6:])
    assert [said[name] for name in SHEET[-6:]] == ["spring 2027", 287.0, 0.4, 275.0, 0.03, 12.5]


def test_a_table_of_twenty_bearings_asks_the_database_no_more_than_one_of_two(django_assert_num_queries):
    account = makers.an_account()
    for n in (2, 18):
        for _ in range(n):
            bearing = makers.a_bearing()
            makers.a_reading(bearing=bearing)
            makers.an_event(bearing=bearing)
        readings(account)
        with django_assert_num_queries(2):
            assert len(readings(account)) == len(events(account)) == (2 if n == 2 else 20)


def test_the_page_about_notebooks_runs_as_it_stands():
    makers.a_worn_fleet(2)
    makers.an_event(bearing=makers.a_bearing(place=makers.a_place(positions=("DE",))), on=dt.date(2015, 5, 4))
    makers.an_account(username="A. Engineer")
    page = (CHECKOUT / "docs/notebook.md").read_text("utf-8")
    blocks = re.findall(r"^```python\n(.+?)^```", page, re.MULTILINE | re.DOTALL)
    names: dict = {}
    for block in blocks:
        exec(block, names)
    assert len(blocks) >= 5 and len(names["r"]) == 6 and len(names["f"]) == 3


def test_a_table_is_written_to_either_kind_of_file(tmp_path, capsys):
    _, account = two_sites()
    command = ("export_table", "readings", "--account", account.username, "--out")
    call_command(*command, str(tmp_path / "a.csv"))
    call_command(*command, str(tmp_path / "a.xlsx"))
    assert capsys.readouterr().out.startswith("1 rows of readings in ")
    made = readings(account)
    head, row = openpyxl.load_workbook(BytesIO((tmp_path / "a.xlsx").read_bytes())).active.iter_rows(
        values_only=True
    )
    assert list(head) == list(made.columns)
    assert row[list(head).index("on")].date() == makers.THE_DAY
    assert len((tmp_path / "a.csv").read_text().splitlines()) == 1 + len(sheet_rows(made))


@pytest.mark.parametrize(
    ("role", "name", "sentence"),
    [
        ("mechanic", "a.csv", "may not export"),
        ("engineer", "a.ods", "ends in .csv or .xlsx"),
        ("engineer", "none/a.csv", "cannot be written"),
    ],
)
def test_a_table_that_may_not_or_cannot_be_written_is_refused_in_a_sentence(role, name, sentence, tmp_path):
    account = makers.an_account(role=role)
    with pytest.raises(CommandError, match=sentence) as refusal:
        call_command("export_table", "events", "--account", account.username, "--out", str(tmp_path / name))
    assert refusal.value.returncode == 2 and list(tmp_path.iterdir()) == []


def test_an_account_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(CommandError, match="No account in use is called nobody"):
        call_command("export_table", "events", "--account", "nobody", "--out", str(tmp_path / "a.csv"))
