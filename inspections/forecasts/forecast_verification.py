"""Stored forecasts held against what the entries of their runs say: parameters of every run, figures of the
one in use.
"""

import datetime as dt
import json
from collections.abc import Iterable
from typing import Any

from rfc8785 import CanonicalizationError

from fleet.ledger.canonical import canonical_hash, plain
from fleet.ledger.committed_rows import Look
from fleet.models import Entry
from inspections.forecasts.forecast_figures import Figures
from inspections.models import Forecast, ForecastRun

CHUNK = 1000
OTHER_RUNS = (
    "figures of forecast runs before the one in use (those relied on are worked out anew by --forecasts)"
)


def rows_hash(rows: Iterable[Forecast]) -> str:
    """SHA-256 over every column of a run's forecasts, in the order of the bearings' ids."""
    said = [
        [
            str(row.bearing_id),
            row.inputs_digest,
            row.outcome,
            row.advice,
            row.first_on.isoformat() if row.first_on else None,
            row.figures,
        ]
        for row in rows
    ]
    return canonical_hash(sorted(said, key=lambda row: row[0]))


def stored_forecasts() -> Look:
    """Every run against its entry; each run has one, and each entry its run."""
    look = Look("stored forecasts: parameters of every run, figures of the one in use")
    entries = {}
    for thing, recorded_at, text in Entry.objects.filter(kind="forecast_run").values_list(
        "thing", "recorded_at", "text"
    ):
        try:
            entries[thing] = json.loads(text)["body"], recorded_at
        except (ValueError, KeyError, TypeError):  # an altered entry, told with the chains
            entries[thing] = {}, recorded_at
    in_use = ForecastRun.objects.filter(standing=True).order_by("-made_at").first()
    for run in ForecastRun.objects.order_by().iterator(chunk_size=10):
        look.n += 1
        said = entries.pop(run.pk, None)
        if said is None:
            look.faults.append(f"forecast run {run.pk}: no entry stands for it.")
            continue
        wrong = _wrong_columns(run, *said)
        if in_use is not None and run.pk == in_use.pk:
            wrong += _wrong_figures(run, said[0])
        look.faults += [f"forecast run {run.pk}: {what} are not those it recorded." for what in wrong]
    look.faults += [f"forecast run {pk}: its entry is there, the run is not." for pk in entries]
    return look


def _hash(value: object) -> str:
    try:
        return canonical_hash(value)
    except CanonicalizationError:  # what no entry could have committed to
        return ""


def _wrong_columns(run: ForecastRun, body: dict[str, Any], recorded_at: dt.datetime) -> list[str]:
    columns = {
        "as_of": run.as_of.isoformat(),
        "engine": run.engine,
        "heads": run.heads_digest,
        "figures": run.figures_hash,
        "parameters": _hash(run.parameters),
    }
    wrong = [f"its {name}" for name, value in columns.items() if body.get(name) != value]
    # Entries of old do not say whether the run stands for today's dates: it does where it was made on its own
    # day, which is the day of its entry or the one before.
    away = (recorded_at.date() - run.as_of).days
    if run.standing not in ([body["standing"]] if "standing" in body else [away == 0, 0 <= away <= 1]):
        wrong.append("that it stands for today's dates, and its day,")
    if "made_at" in body:
        made_otherwise = plain(run.made_at) != body["made_at"]
    else:
        made_otherwise = abs(run.made_at - recorded_at) > dt.timedelta(hours=1)
    if made_otherwise:
        wrong.append("the moment it was made")
    return wrong


def _wrong_figures(run: ForecastRun, body: dict[str, Any]) -> list[str]:
    rows = list(Forecast.objects.filter(run=run).order_by("id"))
    try:
        if "rows" in body:
            same = rows_hash(rows) == body["rows"]
        else:  # runs of earlier versions kept the hash of the sheet's columns alone
            same = canonical_hash([Figures(row.figures).row() for row in rows]) == body.get("figures")
    except CanonicalizationError:
        same = False
    return [] if same else ["its figures"]
