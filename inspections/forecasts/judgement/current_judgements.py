"""The judgements of bearings for a page: those stored with the forecast where nothing has changed since, else
worked out.
"""

import datetime as dt
import hashlib
import uuid
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from fleet.clock import today_in
from fleet.models import Bearing, WorkHours
from fleet.recent import Recent
from inspections.forecasts.computation import ENGINE
from inspections.forecasts.current_forecasts import current, parameters, record_digests, standing_run
from inspections.forecasts.judgement.judgement_figures import FORMAT, Judgement
from inspections.forecasts.judgement.reckoning import Reckoned, reckon
from inspections.forecasts.wear_inputs import inputs
from inspections.models import ForecastRun

_FRESH: Recent[Judgement] = Recent(20_000)


def judgements(bearings: Sequence[Bearing], today: dt.date | None = None) -> dict[uuid.UUID, Judgement]:
    """What stands for each bearing as of today; asked as `current` is, and like it storing nothing.

    The stored judgement where its pump's record, outages and choices are those it was made from, else a fresh
    one made by the same rule with the fleet's stored parameters.
    """
    today = today or today_in("UTC")
    run = standing_run()
    whole = whole_pumps(bearings)
    digests = digests_of(whole)
    found = _stored(whole, run, digests) if run and run.as_of == today and run.engine == ENGINE else {}
    made_from = run.pk if run else None
    keys = {bearing.pk: (made_from, bearing.pk, digests[bearing.pk], today) for bearing in whole}
    found |= {pk: _FRESH[key] for pk, key in keys.items() if pk not in found and key in _FRESH}
    stale = {bearing.place_id for bearing in whole if bearing.pk not in found}
    if stale:
        reckoned = reckoned_of([bearing for bearing in whole if bearing.place_id in stale], today)
        for pk, made in (reckoned.judgements if reckoned else {}).items():
            found[pk] = _FRESH[keys[pk]] = made
    return {bearing.pk: found[bearing.pk] for bearing in bearings}


def reckoned_of(
    bearings: Sequence[Bearing], today: dt.date, supposed: Mapping[uuid.UUID, float] | None = None
) -> Reckoned | None:
    """The rule put to these bearings anew, with all that a plan takes; whole pumps. `supposed` as in
    `reckon`.
    """
    population, codes, _ = parameters(today, standing_run())
    return reckon(inputs(list(bearings), today, codes), population, current(bearings, today), supposed)


def supposing(
    bearings: Sequence[Bearing], today: dt.date, readings: Mapping[uuid.UUID, float]
) -> dict[uuid.UUID, Judgement]:
    """What would stand for the whole pumps of these bearings if some read so many um today; a what-if, kept
    nowhere.
    """
    reckoned = reckoned_of(whole_pumps(bearings), today, readings)
    return dict(reckoned.judgements) if reckoned else {}


def whole_pumps(bearings: Sequence[Bearing]) -> list[Bearing]:
    """The bearings with all others of their pumps."""
    places = {bearing.place_id for bearing in bearings}
    rows = Bearing.objects.standing().select_related("place__site").in_order()
    if len(places) <= 5000:
        rows = rows.filter(place__in=places)
    own = [bearing for bearing in rows if bearing.place_id in places]
    there = {bearing.pk for bearing in own}
    return own + [bearing for bearing in bearings if bearing.pk not in there]


def digests_of(bearings: Iterable[Bearing]) -> dict[uuid.UUID, str]:
    """What each judgement depends on, as one text: its whole pump's record, outages and choices, and the
    work's hours.
    """
    whole = list(bearings)
    own = record_digests(whole)
    hours = sorted(WorkHours.objects.standing().values_list("chain", "entry_n"))
    pumps: dict[uuid.UUID, list[str]] = defaultdict(list)
    for bearing in sorted(whole, key=lambda one: str(one.pk)):
        pumps[bearing.place_id].append(own[bearing.pk])
    texts = {place: f"{FORMAT}|{hours}|" + "|".join(parts) for place, parts in pumps.items()}
    return {one.pk: hashlib.sha256(texts[one.place_id].encode()).hexdigest() for one in whole}


def _stored(
    bearings: Sequence[Bearing], run: ForecastRun, digests: Mapping[uuid.UUID, str]
) -> dict[uuid.UUID, Judgement]:
    ids = [bearing.pk for bearing in bearings]
    rows = run.forecasts.filter(bearing__in=ids) if len(ids) <= 5000 else run.forecasts.all()
    found = {}
    for pk, digest, kept in rows.values_list("bearing_id", "judgement_digest", "judgement"):
        made = Judgement.from_json(kept) if kept and digests.get(pk) == digest else None
        if made is not None:
            found[pk] = made
    return found
