"""The contact checks of a visit in rounds: which stand, which was the last of each half, what number the next
has.

A round is what lies between two scrapes, or new metals: a check repeated with nothing scraped is of the same
round.
"""

from collections.abc import Iterable, Sequence

from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER, is_later
from inspections.models import EFFECTS, ContactCheck, Effect, Event, Visit

_BEGINS_A_ROUND = tuple(kind for kind, effect in EFFECTS.items() if effect in (Effect.STEP, Effect.NEW_METAL))


def rounds_of(visit: Visit, bearing: Bearing) -> list[ContactCheck]:
    """The standing contact checks of one bearing in a visit, in the order in which they were first made.

    `covered` of each is what it covers in words, `begun` the event of its first version: a mended print stays
    where it was.
    """
    rows = ContactCheck._base_manager.filter(event__visit=visit, event__bearing=bearing)
    versions = {one.pk: one for one in rows.select_related("event").order_by(*IN_ORDER)}
    place = {pk: n for n, pk in enumerate(versions)}
    found = []
    for one in versions.values():
        if one.withdrawn_by is not None:
            continue
        first = one
        while first.supersedes in versions:
            first = versions[first.supersedes]
        share = one.event.contact_percent
        vars(one)["covered"] = "" if share is None else f"{share:.0f} % of the length"
        vars(one)["begun"] = first.event
        found.append((one.round, place[first.pk], one))
    return [one for _, _, one in sorted(found, key=lambda key: key[:2])]


def last_rounds(rounds: Sequence[ContactCheck]) -> list[ContactCheck]:
    """The latest check of each half: what the print says now."""
    return list({(one.half or "lower"): one for one in rounds}.values())


def round_number(rounds: Sequence[ContactCheck], happened: Iterable[Event]) -> int:
    """The number of a new check, of either half: that of the last, or one more where metal came off or new
    metal went in since.
    """
    if not rounds:
        return 1
    last = rounds[-1]
    works = (one for one in happened if one.kind in _BEGINS_A_ROUND)
    return last.round + any(is_later(work, vars(last)["begun"]) for work in works)
