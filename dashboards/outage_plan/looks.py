"""What the one judgement of each bearing says of the plan's outages: left closed, or opened and looked at with a trigger."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from uuid import UUID

from dashboards.outage_plan.bearing_jobs.inputs import Inputs, Look, Outage
from fleet.formatting import chance, um
from fleet.models import Bearing
from inspections.forecasts.judgement.figures import ALWAYS, READING, Column, Judgement, Why, Word

SHELL_FROM = 0.1  # chance of a new shell from which one is had ready: 9 in 10 jobs then have theirs


def of(given: Inputs, bearings: Sequence[Bearing], judged: Mapping[UUID, Judgement]) -> Inputs:
    """The inputs with what is judged of each of their bearings, in the inputs' order, at each of their outages."""
    rows = tuple(
        replace(row, looks={one.name: look(judged[bearing.pk], one) for one in given.outages})
        for row, bearing in zip(given.bearings, bearings, strict=True)
    )
    return replace(given, bearings=rows)


def look(made: Judgement, outage: Outage) -> Look:
    """One bearing at one outage: closed before the outage at which its pump is opened."""
    column = next((c for c in made.columns if c.known and c.name == outage.name), None)
    closed = made.word == Word.LEAVE and made.at is not None and outage.start_on < made.at.start_on
    if column is None:
        return Look(closed, True, "")
    if made.why == Why.MISFIT:
        return Look(
            closed, True, "its readings do not follow steady wear: open and look, the engineer decides"
        )
    shell = column.new is None or column.new >= SHELL_FROM
    return Look(closed, shell, _words(column))


def _words(at: Column) -> str:
    """What is done there, with the reading from which a new shell goes in."""
    if at.trigger_is == ALWAYS or (at.new or 0.0) > 0.9:
        return "open, replacement expected: if it reads low, measure again and call the engineer"
    if at.trigger_is == READING and at.trigger_um is not None:
        return f"open and look: replace if found at about {um(at.trigger_um)} or more ({chance(at.new or 0.0)} it will be)"
    return "open and look"
