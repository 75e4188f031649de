"""What would be judged under the what-if readings of a plan: worked out when it is looked
at, kept nowhere.
"""

import datetime as dt
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from fleet.models import Bearing
from inspections.forecasts.judgement.current_judgements import digests_of, supposing
from inspections.forecasts.judgement.judgement_figures import Judgement

# A plan under a what-if is looked at again and again while it is changed.
_MADE: OrderedDict[tuple[Any, ...], dict[str, Judgement]] = OrderedDict()
_MOST_MADE = 64


def supposed(
    ids: Mapping[str, str], changes: Sequence[Mapping[str, Any]], as_of: dt.date
) -> dict[str, Judgement]:
    """By bearing of each pump concerned, what would stand if it read so today; `ids` inner ids by name."""
    readings = {
        UUID(ids[one["bearing"]]): float(one["um"])
        for one in changes
        if one["what"] == "worse" and one["bearing"] in ids
    }
    if not readings:
        return {}
    bearings = list(Bearing.objects.select_related("place__site").filter(pk__in=readings))
    key = (as_of, tuple(sorted(readings.items())), tuple(sorted(digests_of(bearings).items())))
    if key not in _MADE:
        names = {pk: name for name, pk in ids.items()}
        made = supposing(bearings, as_of, readings)
        _MADE[key] = {names[str(pk)]: one for pk, one in made.items() if str(pk) in names}
        while len(_MADE) > _MOST_MADE:
            _MADE.popitem(last=False)
    return _MADE[key]
