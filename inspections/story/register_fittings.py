"""Shells that the register has as fitted, told in a bearing's story."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from fleet.models import ShellFitting
from inspections.story.effect_of_work import LOADED_HALF, NEW_LIFE, Happening
from inspections.story.timeline import Story


def shells_fitted(as_of: dt.date, some: dict[str, Any]) -> dict[UUID, list[ShellFitting]]:
    """By bearing: the shells that the register has as fitted by a day, the first first; `some` narrows the
    bearings.
    """
    found: dict[UUID, list[ShellFitting]] = defaultdict(list)
    rows = ShellFitting.objects.standing().filter(from_on__isnull=False, from_on__lte=as_of, **some)
    for fitting in rows.order_by("from_on"):
        found[fitting.bearing_id].append(fitting)
    return found


def with_fittings(story: Story, fitted: Sequence[ShellFitting], load_side: str) -> Story:
    """A fitting of the loaded half that no event of the story tells of begins a life too."""
    loaded = LOADED_HALF.get(load_side)
    told = {one.on for one in story.happenings if one.effect == NEW_LIFE}
    new = {
        fit.from_on: fit
        for fit in fitted
        if fit.from_on and (loaded is None or fit.half == loaded) and fit.from_on not in told
    }
    if not new:
        return story
    entries = list(story.entries)
    for day in sorted(new, reverse=True):
        fit = new[day]
        life = Happening(
            fit.pk,
            day,
            day,
            fit.precision,
            None,
            0,
            "shell_change",
            NEW_LIFE,
            fit.half,
            "",
            "",
            "",
            None,
            "",
            False,
            "New shell fitted, by the register",
        )
        at = next((i for i, one in enumerate(entries) if one.on >= day), len(entries))
        entries.insert(at, life)
    return Story(**{**vars(story), "entries": tuple(entries)})
