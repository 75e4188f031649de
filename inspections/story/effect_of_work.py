"""What happened at a bearing: its effect on the series, and one line of words for charts and pages. No
database.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from fleet.formatting import um_figure
from inspections.models import EFFECTS, Effect, EventKind, Outcome
from inspections.story.observations import Observation

STEP, NEW_LIFE, NEW_BASELINE, RATE_BREAK, NO_EFFECT = "step", "new_life", "new_baseline", "rate_break", "none"
OPENED = "opened"  # a visit begins, and why is known: not in the story, only in what the wear engine is told
UNSURE = "unsure"  # the level is not known from here on: a fall nobody could explain was set aside
# How the import asks about such a fall; a row set aside with this question starts an unsure stretch.
UNEXPLAINED_FALL = "check the value, or add the event that made it smaller"
LOADED_HALF = {"bottom": "lower", "top": "upper"}


@dataclass(frozen=True, slots=True)
class Happening:
    """Something done or seen, and what it does to the series.

    `effect`: `step`, `new_life`, `new_baseline`, `rate_break`, `unsure` (the level is not known from here),
    `none`.
    """

    id: UUID
    on: dt.date
    last_on: dt.date
    precision: str
    visit: UUID | None
    order: int
    kind: str
    effect: str
    half: str
    shell: str
    reason: str
    outcome: str
    contact_percent: float | None
    note: str
    whole_pump: bool
    words: str = ""


def effect_of(kind: str, half: str, load_side: str) -> str:
    """What an event does to the series: new metal is a new life only where the load rests on it.

    >>> effect_of("shell_change", "upper", "bottom"), effect_of("shell_change", "", "bottom")
    ('new_baseline', 'new_life')
    """
    effect = EFFECTS.get(kind, Effect.NONE)
    if effect != Effect.NEW_METAL:
        return str(effect)
    loaded = LOADED_HALF.get(load_side)
    return NEW_LIFE if not half or loaded is None or half == loaded else NEW_BASELINE


def words_of(
    kind: str,
    *,
    half: str = "",
    shell: str = "",
    reason: str = "",
    outcome: str = "",
    contact_percent: float | None = None,
    note: str = "",
    around: Sequence[Observation] = (),
) -> str:
    """One line on an event, with the clearance before and after where it is work.

    Parameters
    ----------
    around : sequence of Observation
        what was observed in the same visit.

    Examples
    --------
    >>> words_of("contact_check", outcome="scrape", contact_percent=60.0)
    'Contact checked: 60 % of the length, scrape here and check again'
    """
    said = _name(kind)
    if half:
        said += f", {half} half"
    parts = [_contact(contact_percent, outcome)] if kind == EventKind.CONTACT_CHECK else []
    if EFFECTS.get(kind, Effect.NONE) not in (Effect.NONE, Effect.RATE_BREAK):
        parts.append(_before_and_after(around))
    if shell:
        parts.append(f"shell {shell}")
    if reason and reason != "unknown":
        parts.append(reason.replace("_", " "))
    if note:
        parts.append(note)
    told = "; ".join(part for part in parts if part)
    return f"{said}: {told}" if told else said


def _name(kind: str) -> str:
    name = EventKind(kind).label if kind in EventKind.values else kind.replace("_", " ")
    return name[:1].upper() + name[1:]


def _contact(percent: float | None, outcome: str) -> str:
    parts = [] if percent is None else [f"{percent:.0f} % of the length"]
    parts += [str(Outcome(outcome).label)] if outcome in Outcome.values else []
    return ", ".join(parts)


def _before_and_after(around: Sequence[Observation]) -> str:
    """`197 µm as found, 208 µm as left`, the larger ends: by one method where both were measured with it."""
    measured = [one for one in around if one.series == "clearance" and one.value_um is not None]
    found = {one.method: one for one in measured if one.stage == "as_found"}
    left = {one.method: one for one in measured if one.stage == "as_left"}
    both = [method for method in found if method in left]
    before = found[both[0]] if both else next(iter(found.values()), None)
    after = left[both[0]] if both else next(iter(left.values()), None)
    parts = [f"{um_figure(before.larger_um)} µm as found"] if before else []
    parts += [f"{um_figure(after.larger_um)} µm as left"] if after else []
    return ", ".join(parts)
