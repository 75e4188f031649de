"""Every ugly sheet becomes what its hand-written truth says, no cell of it is lost, and it adds nothing
twice.
"""

import pytest

from fleet.importing.plans.cell_fates import READ, REMARK, apply
from fleet.importing.plans.layout import grid_of
from fleet.sheets.files import read_sheet
from tests.imports import bringing

pytestmark = pytest.mark.django_db


@pytest.fixture
def brought(request):
    """A sheet brought, after the one it follows."""
    truth = bringing.truth_of(request.param)
    bringing.the_pumps(truth)
    if before := truth.get("after"):
        assert bringing.bring(bringing.truth_of(before)).ok
    return truth, bringing.bring(truth)


every_sheet = pytest.mark.parametrize("brought", bringing.TRUTHS, indirect=True)


def test_there_are_at_least_twelve():
    assert len(bringing.TRUTHS) >= 12


@every_sheet
def test_every_stored_reading_and_event_is_as_the_truth_says(brought):
    truth, result = brought
    assert result.ok, [one.line() for one in result.findings]
    assert bringing.readings() == sorted(truth["readings"])
    assert bringing.events() == sorted(truth["events"])
    assert bringing.hours() == sorted(truth["hours"])
    assert bringing.set_aside() == sorted(truth["set_aside"])
    assert len(truth["plan"]) + len(truth["answers"]) <= 15


@every_sheet
def test_no_cell_is_lost(brought):
    truth, result = brought
    tabs = read_sheet(bringing.bytes_of(truth), truth["sheet"]).tabs
    filled = set()
    for tab in tabs:
        filled |= {
            (tab.name, row.number, j)
            for row in tab.all_rows()
            for j, cell in enumerate(row.cells)
            if cell.strip()
        }
    fates = apply(bringing.the_plan(truth, tabs), tabs).fates
    assert set(fates) == filled
    taken = {(made.tab, made.row, j) for made in result.applied.made for j in made.columns.values()}
    down = {(tab, n, j) for (tab, n, j) in taken if (tab, n, j) not in filled}  # merged or filled from above
    assert {place for place, fate in fates.items() if fate in (READ, REMARK)} >= taken - down
    grids = {tab.name: grid_of(tab) for tab in tabs}
    said = {(m.tab, m.row, name): text for m in result.applied.made for name, text in m.cells.items()}
    for (tab, n, j), fate in fates.items():
        if fate == REMARK:
            assert said[tab, n, "note"] == grids[tab].text(n, j)


@every_sheet
def test_the_same_sheet_again_adds_nothing_and_asks_nothing(brought):
    truth, first = brought
    before = (bringing.readings(), bringing.events(), bringing.hours(), bringing.set_aside())
    again = bringing.bring({**truth, "answers": []})
    assert again.ok and again.counts.stored == 0 and again.sheet == first.sheet
    assert (bringing.readings(), bringing.events(), bringing.hours(), bringing.set_aside()) == before


@every_sheet
def test_rows_seen_are_stored_set_aside_there_already_or_blank(brought):
    _, result = brought
    counts = result.counts
    assert counts.seen == counts.stored + counts.set_aside + counts.already + counts.blank


@pytest.mark.parametrize("brought", ["footers_and_totals"], indirect=True)
def test_struck_out_cells_colours_and_comments_are_reported_and_not_understood(brought):
    _, result = brought
    said = " ".join(result.remarks)
    assert "struck-out cells (C6)" in said and "2 coloured cells" in said
    assert "1 comments" not in said and "C6: measured twice, see file" in said
