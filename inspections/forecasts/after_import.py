"""What a history means once it is stored: what came in, the bearings it puts first, and the one thing to do
next.
"""

import datetime as dt
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.urls import reverse

from fleet.access import may
from fleet.formatting import day_words
from fleet.importing.import_outcome import Outcome, Said, Step
from fleet.importing.loaders import counted_words
from fleet.models import Account, Bearing, Outage, Place, Sheet
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import visible
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Judgement, Word
from inspections.forecasts.judgement.judgement_sentence import sentence, standing_of
from inspections.models import Event, MeterEntry, Reading

SHOWN_FIRST = 3


def outcome_of(sheet: Sheet, account: Account, today: dt.date) -> Outcome:
    """What a stored history brought and means, for an account; nothing of bearings that it may not read.

    Parameters
    ----------
    sheet : Sheet
        of a history, standing.
    today : date
        the day the dates are looked at from.

    Returns
    -------
    Outcome
        `first` holds the sentences of at most three bearings, the most urgent first; works dates out, stores
        nothing.
    """
    bearings = list(
        visible(account)
        .filter(
            pk__in=[
                *Reading.objects.standing().filter(sheet=sheet).values_list("bearing", flat=True),
                *_with_events(sheet),
            ]
        )
        .select_related("place__site")
    )
    came = _came(sheet, len(bearings))
    if not bearings:
        return Outcome(came, "", (), _next_step(sheet, account, (), {}, today))
    judged, figures = judgements(bearings, today), current(bearings, today)
    order = sorted(bearings, key=lambda one: _urgency(judged[one.pk], figures[one.pk]))
    first = [one for one in order if judged[one.pk].word not in (Word.SET_LIMIT, Word.ENGINEER)]
    said = tuple(
        Said(f"{one.place.tag} {one.name}", bearing_address(one), _sentence(judged[one.pk], figures[one.pk]))
        for one in first[:SHOWN_FIRST]
    )
    step = _next_step(sheet, account, order, judged, today)
    return Outcome(came, _saying(order, judged, figures), said, step)


def _with_events(sheet: Sheet) -> list[UUID]:
    rows = Event.objects.standing().filter(sheet=sheet, bearing__isnull=False)
    return list(rows.values_list("bearing", flat=True))


def _came(sheet: Sheet, n_bearings: int) -> tuple[str, ...]:
    """How many readings, events and meter entries, of which days, and what was made with them."""
    readings = Reading.objects.standing().filter(sheet=sheet)
    events = Event.objects.standing().filter(sheet=sheet)
    days = [*readings.values_list("on", flat=True), *events.values_list("on", flat=True)]
    made = [
        counted_words(readings.count(), "measurement"),
        counted_words(events.count(), "event"),
        counted_words(MeterEntry.objects.standing().filter(sheet=sheet).count(), "meter reading"),
        counted_words(Place.objects.standing().filter(act=sheet.act).count(), "new pump"),
    ]
    span = (f"from {min(days):%Y} to {max(days):%Y}",) if days else ()
    of = (f"at {counted_words(n_bearings, 'bearing')}",) if n_bearings else ()
    return (*(one for one in made if one), *of, *span)


def _urgency(judgement: Judgement, figures: Figures) -> tuple[Any, ...]:
    """Decide now before all, then as the watch list does; without a date last."""
    return judgement.word != Word.DECIDE_NOW, *figures.urgency(), judgement.word


def _sentence(judgement: Judgement, figures: Figures) -> str:
    last = figures["last_reading_um"], figures.day("last_reading_on")
    return sentence(standing_of(judgement, *last))


def _saying(order: Sequence[Bearing], judged: dict[UUID, Judgement], figures: dict[UUID, Figures]) -> str:
    dated = [one for one in order if figures[one.pk].first_on is not None]
    if not dated:
        n = len(order)
        return f"No date can be said yet of {'its bearing' if n == 1 else f'any of its {n} bearings'}."
    n_now = sum(judged[one.pk].word == Word.DECIDE_NOW for one in order)
    now = f" {n_now} of them {'waits' if n_now == 1 else 'wait'} for a decision now." if n_now else ""
    first, today = dated[0], judged[dated[0].pk].as_of
    when = figures[first.pk].first_on
    is_coming = when is not None and today < when < dt.date.max
    by = f": 1 in 10 before {day_words(when, today)}" if is_coming else ""
    soonest = f" {first.place.tag} {first.name} comes first{by}."
    return f"{len(dated)} of {counted_words(len(order), 'bearing')} have dates.{now}{soonest}"


def _next_step(
    sheet: Sheet,
    account: Account,
    order: Sequence[Bearing],
    judged: dict[UUID, Judgement],
    today: dt.date,
) -> Step:
    """The one thing to do next: what keeps most dates away before what makes them better."""
    lacking = [one for one in order if judged[one.pk].why == "no_maximum"]
    sites = {one.place.site for one in lacking}
    if lacking and any(may(account, "set limits", site) for site in sites):
        address = f"{reverse('limits-of-many')}?{urlencode({'sheet': sheet.pk})}"
        n = counted_words(len(lacking), "bearing")
        return Step(
            f"{n} of it {'has' if len(lacking) == 1 else 'have'} no limit, and without one there is no date.",
            f"Set limits for {n}",
            address,
        )
    n_aside = sheet.set_aside.standing().count()
    if n_aside:
        words = (
            f"{counted_words(n_aside, 'row')} {'waits' if n_aside == 1 else 'wait'} for an answer, used for"
            " nothing."
        )
        return Step(words, "See the rows set aside", "#aside")
    now = next((one for one in order if judged[one.pk].word == Word.DECIDE_NOW), None)
    if now is not None:
        name = f"{now.place.tag} {now.name}"
        return Step(f"{name} does not wait for its outage.", f"Look at {name}", bearing_address(now))
    outages = Outage.objects.standing().filter(
        end_on__gte=today, site__in={one.place.site_id for one in order}
    )
    if order and not outages.exists() and may(account, "import plans"):
        words = "No coming outage is known: dates stand, and no opening is tied to one."
        return Step(words, "Bring the outages", reverse("import"))
    return Step("The watch list has every bearing in order of its date.", "To the watch list", "/")
