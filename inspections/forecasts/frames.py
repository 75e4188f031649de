"""The record and the forecasts as typed data frames, of the sites at which an account may do an act
(`docs/notebook.md`).

For sheets, for whatever is counted over a fleet, and for a notebook; the page of one bearing never comes
here.
"""

from collections.abc import Iterable
from typing import Any

import pandas as pd

from fleet.access import sites_for
from fleet.models import Account, Bearing
from fleet.sheets.frames import COUNT, DAY, INSTANT, NUMBER, TEXT, WORD, YES_NO, frame, sheet_rows
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.forecast_figures import BEYOND, COLUMNS, QUANTILES, Figures
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.models import EFFECTS, Event, Reading

# By column: its type, and where the row has it.
_READINGS = {
    "site": (TEXT, "bearing__place__site__name"),
    "pump": (TEXT, "bearing__place__tag"),
    "position": (TEXT, "bearing__name"),
    "on": (DAY, "on"),
    "last_on": (DAY, "last_on"),
    "precision": (WORD, "precision"),
    "stage": (WORD, "stage"),
    "quantity": (WORD, "quantity"),
    "basis": (WORD, "basis"),
    "end": (WORD, "end"),
    "clock": (COUNT, "clock"),
    "method": (WORD, "method"),
    "gauge": (TEXT, "instrument__label"),
    "typed": (TEXT, "typed"),
    "unit": (WORD, "unit"),
    "value_um": (NUMBER, "value_um"),
    "low_um": (NUMBER, "low_um"),
    "high_um": (NUMBER, "high_um"),
    "counts": (YES_NO, "counts"),
    "not_for_wear": (YES_NO, "not_for_wear"),
    "note": (TEXT, "note"),
    "recorded_at": (INSTANT, "recorded_at"),
    "chain": (TEXT, "chain"),
    "entry": (COUNT, "entry_n"),
}
_EVENTS = {
    "site": (TEXT, "place__site__name"),
    "pump": (TEXT, "place__tag"),
    "position": (TEXT, "bearing__name"),
    "on": (DAY, "on"),
    "last_on": (DAY, "last_on"),
    "precision": (WORD, "precision"),
    "kind": (WORD, "kind"),
    "half": (WORD, "half"),
    "shell": (TEXT, "shell"),
    "reason": (WORD, "reason"),
    "outcome": (WORD, "outcome"),
    "contact_percent": (NUMBER, "contact_percent"),
    "note": (TEXT, "note"),
    "recorded_at": (INSTANT, "recorded_at"),
    "chain": (TEXT, "chain"),
    "entry": (COUNT, "entry_n"),
}
_DATES = tuple(f"{limit}_date_{quantile}" for limit in ("replace", "max") for quantile in QUANTILES)
_NOT_NUMBERS = {
    "site": TEXT,
    "pump": TEXT,
    "position": TEXT,
    "as_of": DAY,
    "readings": COUNT,
    "last_reading_on": DAY,
    "outcome": WORD,
    "exposure": WORD,
    "replace_limit_from": WORD,
    "next_outage": TEXT,
    "advice": WORD,
    "scrapes_left": COUNT,
    **dict.fromkeys(_DATES, DAY),
}
# What the one judgement says, behind the columns of the forecast; `advice` among those is its word too.
JUDGED = ("open_at", "trigger_um", "p_trigger", "scrape_from_um", "p_max_before_open", "waiting_costs_h")
SHEET = (*COLUMNS, *JUDGED)
_FORECASTS = {name: _NOT_NUMBERS.get(name, NUMBER) for name in COLUMNS} | {
    name: TEXT if name == "open_at" else NUMBER for name in JUDGED
}
_BEYOND = {name: f"{name}_{BEYOND}" for name in _DATES}


def readings(account: Account, *, act: str = "read") -> pd.DataFrame:
    """Every standing reading at the sites where an account may do an act; one query.

    Parameters
    ----------
    account : Account
        whoever asks; of other sites nothing comes.
    act : str
        an act of `fleet.access.MAY`; "export" for what is handed out as a file.

    Returns
    -------
    DataFrame
        by site, pump, position and day. `value_um` is um (a clearance: diametral), or NaN where only an
        interval (`low_um`, `high_um`; NaN: open) is known; `typed` and `unit` are what was written down;
        `chain` and `entry` name the ledger's entry.

    Examples
    --------
    `readings(account).query("quantity == 'clearance'").groupby(["site", "pump",
    "position"])["value_um"].max()`
    """
    rows = Reading.objects.standing().filter(
        bearing__withdrawn_by__isnull=True, bearing__place__site__in=sites_for(account, act)
    )
    order = ("bearing__place__site__folded", "bearing__place__folded", "bearing__folded", "on", "entry_n")
    return _of(_READINGS, rows.order_by(*order))


def events(account: Account, *, act: str = "read") -> pd.DataFrame:
    """Every standing event at the sites where an account may do an act, as `readings` takes them; one query.

    Returns
    -------
    DataFrame
        by site, pump and day. `position` is NA where the event is the whole pump's; `effect` is what the kind
        does to the series of clearances, NA for a kind of the plant's own; `contact_percent` is per cent of
        the length.
    """
    rows = Event.objects.standing().filter(place__site__in=sites_for(account, act))
    rows = rows.order_by("place__site__folded", "place__folded", "on", "entry_n")
    types = {name: kind for name, (kind, _) in _EVENTS.items()} | {"effect": WORD}
    cells = rows.values_list(*(where for _, where in _EVENTS.values()))
    kind_at = list(_EVENTS).index("kind")
    effects = {str(kind): str(effect) for kind, effect in EFFECTS.items()}
    return frame(types, ((*row, effects.get(row[kind_at])) for row in cells))


def forecasts(account: Account, *, act: str = "read") -> pd.DataFrame:
    """Today's forecast of every bearing at the sites where an account may do an act; stores nothing.

    Returns
    -------
    DataFrame
        as `figures_frame` makes it, by site, pump and position.
    """
    bearings = list(Bearing.objects.standing().at_sites(sites_for(account, act)).in_order())
    judged = judgements(bearings)
    return figures_frame((figures, judged.get(pk)) for pk, figures in current(bearings).items())


def figures_frame(forecast: Iterable[tuple[Figures, Judgement | None]]) -> pd.DataFrame:
    """Forecasts, each with what is judged of its bearing, under the columns of the forecast sheet with their
    types.

    Returns
    -------
    DataFrame
        lengths um, rates um per 1000 h, chances 0 to 1. A date that lies beyond the horizon is NaT, and the
        column of its name with `_beyond` is true: it is later than all others, which a missing date is not.
        `advice` is the judgement's word: leave, open, decide_now, set_limit, or engineer where the engineer
        decides; missing without one.
    """
    rows = [_row(figures, judged) for figures, judged in forecast]
    days = [[None if cell == BEYOND else cell for cell in row] for row in rows]
    made = frame(_FORECASTS, days)
    for name, flag in _BEYOND.items():
        at = COLUMNS.index(name)
        made[flag] = pd.Series([row[at] == BEYOND for row in rows], dtype="bool")
    return made


def _row(figures: Figures, judged: Judgement | None) -> list[Any]:
    row, at = figures.row(), judged.at if judged else None
    row[COLUMNS.index("advice")] = judged.word if judged else None
    opening = (
        (at.name, at.trigger_um, at.new, at.scrape_from_um, at.past, at.waiting_h) if at else (None,) * 6
    )
    return [*row, *opening]


def forecast_sheet(made: pd.DataFrame) -> list[tuple[Any, ...]]:
    """The rows of the forecast sheet from `figures_frame`: a date beyond the horizon says
    so in its own cell.
    """
    beyond = {COLUMNS.index(name): made[flag].tolist() for name, flag in _BEYOND.items()}
    return [
        tuple(BEYOND if at in beyond and beyond[at][n] else cell for at, cell in enumerate(row))
        for n, row in enumerate(sheet_rows(made[list(SHEET)]))
    ]


def _of(columns: dict[str, tuple[str, str]], rows: Any) -> pd.DataFrame:
    """Rows of a query as a frame of these columns."""
    types = {name: kind for name, (kind, _) in columns.items()}
    return frame(types, rows.values_list(*(where for _, where in columns.values())))
