"""Working out anew the forecasts that decisions relied on, from the record as it was known then, to the byte.

The promise is for the same engine and the same pinned packages. Figures are rounded to six significant digits
before they are hashed (`forecasting.DIGITS`), within which the compiled and the plain numpy form of the
engine agree.
"""

import datetime as dt
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.ledger.canonical import canonical_hash
from fleet.ledger.knowing import Knowledge
from fleet.models import Bearing, Entry
from inspections.forecasts.codes import Codes
from inspections.forecasts.computation import ENGINE, figures_of
from inspections.forecasts.forecast_figures import Figures, figures_hash
from inspections.forecasts.provenance import packages, words_of_figures
from inspections.forecasts.wear_inputs import fleet_inputs, inputs
from inspections.models import ForecastRun
from inspections.wear.fit import fit_fleet
from inspections.wear.population import Population

EQUAL, DIFFERS, CANNOT = "recomputed equal", "differs", "cannot be recomputed"
# The fleet fitted as it stood, by the last entry it knew and the day.
Fits = dict[tuple[int, dt.date], tuple[Population, Codes]]


@dataclass(frozen=True)
class Recomputed:
    """One forecast relied on: which, how it came out (`EQUAL`, `DIFFERS`, `CANNOT`) and,
    unless equal, why.
    """

    name: str
    outcome: str
    why: str = ""

    def __str__(self) -> str:
        return f"{self.name}: {self.outcome}{f': {self.why}' if self.why else ''}."


class _Altered(Exception):
    """What the figures rest on is no longer what the ledger says."""


class _Lost(Exception):
    """What the figures rest on is not there any more."""


def recompute() -> Iterator[Recomputed]:
    """Every forecast that an entry says was relied on, in the order of recording.

    Yields
    ------
    Recomputed
        one for each entry `forecast_relied_on`; nothing is stored.
    """
    entries = list(Entry.objects.filter(kind="forecast_relied_on").order_by("id"))
    knowledge = Knowledge()
    began: dict[UUID, int] = {}
    fitted: Fits = {}
    try:
        for entry in entries:
            if entry.act not in began:
                first = Entry.objects.filter(act=entry.act).order_by("id").values_list("id", flat=True)[0]
                # An act can follow another's entries only; what was learnt already is never unlearnt.
                began[entry.act] = first
                knowledge.learn(first)
            yield _one(entry, knowledge, fitted)
    finally:
        knowledge.close()


def told() -> Iterator[tuple[str, bool]]:
    """Each in words, and whether something was altered."""
    for one in recompute():
        yield str(one), one.outcome == DIFFERS


def _one(entry: Entry, knowledge: Knowledge, fitted: Fits) -> Recomputed:
    body = json.loads(entry.text)["body"]
    day = dt.date.fromisoformat(body["on"])
    pk = UUID(entry.chain.partition(":")[2])
    bearing = Bearing.objects.select_related("place").filter(pk=pk).first()
    name = f"{bearing.place.tag} {bearing.name}" if bearing else entry.chain
    name = f"{name}, forecast relied on {day} (entry {entry.n})"
    if (made := body.get("engine", ENGINE)) != ENGINE:
        why = f"made by engine {made}; this is engine {ENGINE}"
        return Recomputed(name, CANNOT, why)
    try:
        kept = _kept_parameters(body.get("run"))
        with knowledge.known():
            figures = _figures(pk, day, kept, knowledge.last, fitted)
    except _Altered as altered:
        return Recomputed(name, DIFFERS, str(altered))
    except _Lost as lost:
        return Recomputed(name, CANNOT, str(lost))
    return _compared(name, body, figures)


def _kept_parameters(run: str | None) -> dict[str, Any] | None:
    """The parameters of a run as they were stored, held against the hash in the run's own entry."""
    if run is None:
        return None
    row = ForecastRun.objects.filter(pk=run).first()
    if row is None:
        raise _Lost(f"the stored parameters of the refit {run} are gone")
    entry = Entry.objects.filter(kind="forecast_run", thing=run).first()
    digest = canonical_hash(row.parameters)
    if entry is None or json.loads(entry.text)["body"]["parameters"] != digest:
        raise _Altered(f"the stored parameters of the refit of {row.as_of} are not those it recorded")
    parameters: dict[str, Any] = row.parameters
    return parameters


def _figures(pk: UUID, day: dt.date, kept: Mapping[str, Any] | None, last: int, fitted: Fits) -> Figures:
    """The figures of one bearing from what is known; without stored parameters the fleet is fitted as it
    stood.
    """
    if kept:
        population, codes = Population.from_json(kept["population"]), Codes.of_stored(kept)
    else:
        if (last, day) not in fitted:
            fitted.clear()
            codes = Codes()
            whole = fleet_inputs(day, codes)
            fitted[last, day] = fit_fleet(whole.histories), codes
        population, codes = fitted[last, day]
    bearing = Bearing.objects.select_related("place__site").get(pk=pk)
    return figures_of(inputs([bearing], day, codes), population)[pk]


def _compared(name: str, body: Mapping[str, Any], figures: Figures) -> Recomputed:
    now, said = words_of_figures(figures), body.get("said")
    other = (
        [
            f"{one} was {said.get(one, 'nothing')}, recomputed {now.get(one, 'nothing')}"
            for one in sorted({*now, *said})
            if now.get(one) != said.get(one)
        ]
        if said
        else []
    )
    same = figures_hash(figures) == body["figures"]
    if same and not other:
        return Recomputed(name, EQUAL)
    here = packages()
    if (made := body.get("packages", here)) != here:
        return Recomputed(name, CANNOT, f"made with {_versions(made)}; here are {_versions(here)}")
    if other:
        return Recomputed(name, DIFFERS, "; ".join(other))
    kept = "its hash was changed" if said else "it kept its hash alone, so the figure cannot be named"
    return Recomputed(name, DIFFERS, kept)


def _versions(packages: Mapping[str, str]) -> str:
    return ", ".join(f"{name} {number}" for name, number in sorted(packages.items()))
