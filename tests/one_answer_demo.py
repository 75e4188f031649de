"""Every bearing of a record through every station of the site: `python -m tests.one_answer_demo`, with the
record's DATABASE_URL. Prints as JSON how many there are and where stations differ; reads only.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import django


def stations() -> Iterator[tuple[str, str, Any]]:
    """Each bearing with each station's differences."""
    from dashboards.watchlist.ranking import Watched
    from fleet.models import Bearing, Site
    from inspections.forecasts.current_forecasts import current
    from inspections.forecasts.judgement.current_judgements import judgements
    from tests import one_answer

    bearings = list(Bearing.objects.standing().select_related("place__site").in_order())
    judged, figures = judgements(bearings), current(bearings)
    files = one_answer.in_files([(figures[one.pk], judged[one.pk]) for one in bearings])
    for one, in_file in zip(bearings, files, strict=True):
        name, stands = str(one), judged[one.pk]
        row = Watched(one, figures[one.pk], judgement=stands)
        yield name, "watch list", one_answer.listed(row)
        yield name, "page", one_answer.on_page(figures[one.pk], stands)
        yield name, "pump", one_answer.at_pump(stands)
        yield name, "quality", one_answer.of_quality(stands)
        yield name, "forecast sheet", in_file
    by_name = {f"{one.place.site} {one.place.tag} {one.name}": judged[one.pk] for one in bearings}
    for site in Site.objects.standing():
        own = [one for one in bearings if one.place.site_id == site.pk]
        yield from _of_plan(site, by_name)
        yield from _on_devices(own, judged)


def _of_plan(site: Any, judged: Any) -> Iterator[tuple[str, str, Any]]:
    """The lines of the plan in hand, and of its file."""
    from dashboards.outage_plan import drafts, versions
    from dashboards.outage_plan.plan_sheet import rows_of
    from tests import one_answer

    hand = drafts.in_hand(site)
    assert hand is not None, f"no plan in hand at {site}"
    made = versions.shown(hand, versions.version(hand, versions.HAND))
    assert made.evaluation is not None and made.inputs is not None
    for job, cells in zip(made.evaluation.jobs, rows_of(made), strict=False):
        start = made.inputs.outages[made.inputs.outage_at[job.outage]].start_on
        stands = judged[f"{site} {job.bearing}"]
        yield job.bearing, "plan", one_answer.planned(job, start, stands, stands.at)
        yield job.bearing, "plan's file", one_answer.in_sheet(cells, job, start)


def _on_devices(own: list[Any], judged: Any) -> Iterator[tuple[str, str, Any]]:
    """What a visit that begins today is held against, at the pump and on a device."""
    from fleet.clock import today_at
    from inspections.visits.expectations import before_many
    from inspections.visits.trigger_at_pump import opening_of
    from tests import one_answer

    today = today_at(own[0].place.site)
    for pk, before in before_many(own, today).items():
        name = str(before.known.bearing)
        at_once = opening_of(judged[pk], today), opening_of(before.judgement, today)
        yield name, "pump today", one_answer.held_alike(*at_once)


def main() -> None:
    """Print what differs."""
    django.setup()
    from tests import one_answer

    spoken = [(bearing, station, list(differs)) for bearing, station, differs in stations()]
    said = one_answer.disagreements(spoken)
    print(json.dumps({"bearings": sum(s == "watch list" for _, s, _ in spoken), "disagreements": said}))


if __name__ == "__main__":
    main()
