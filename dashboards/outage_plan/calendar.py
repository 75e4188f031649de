"""A plan as an iCalendar file (RFC 5545): outages with their jobs, freeze days, last days to order, deferrals that expire."""

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence

from icalendar import Calendar, Event

from dashboards.outage_plan.deferrals import Deferral
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.words import job_words
from fleet.formatting import chance, counted, hours

PRODUCT = "-//Clearance ledger//outage plan//EN"


def calendar(made: Proposal, deferrals: Sequence[Deferral], *, stamp: dt.datetime, label: str) -> bytes:
    """The plan of one site as a calendar of whole days; the same plan gives the same bytes.

    Parameters
    ----------
    stamp : datetime
        UTC; when the plan was worked out: each event's DTSTAMP (RFC 5545, 3.8.7.2).
    label : str
        which plan it is, for the calendar's name.
    """
    book = Calendar()
    book.add("prodid", PRODUCT)
    book.add("version", "2.0")
    book.add("method", "PUBLISH")
    book.add("x-wr-calname", f"{made.site.name}: {label}")
    for event in _events(made, deferrals):
        event.add("dtstamp", stamp.replace(microsecond=0))
        book.add_component(event)
    return book.to_ical()


def _events(made: Proposal, deferrals: Sequence[Deferral]) -> Iterator[Event]:
    if made.inputs is None or made.evaluation is None:
        return
    site = str(made.site.pk)
    for outage in made.inputs.outages:
        if outage.skipped:
            continue
        jobs = [job for job in made.evaluation.jobs if job.outage == outage.name]
        lines = [
            f"{job.bearing}: {job.action}, {hours(job.crew_hours)}; {chance(job.p_max_before_work)} passed by then"
            for job in jobs
        ]
        if outage.between and not jobs:
            continue
        title = f"{outage.name}: {counted(len(jobs), 'job')}"
        yield _days(
            f"outage {outage.name}", site, title, outage.start_on, outage.end_on, _plain("\n".join(lines))
        )
        if outage.scope_freeze_on:
            yield _days(
                f"freeze {outage.name}", site, f"Scope freezes: {outage.name}", outage.scope_freeze_on
            )
    for order in made.orders:
        title = f"Last day to order: {order.family} for {order.bearing}"
        why = f"{job_words('replace', order.outage)}; lead time {order.lead_time_days:.0f} days"
        day = max(order.order_by, made.as_of)
        yield _days(f"order {order.bearing} {order.family}", site, title, day, text=why)
    for one in deferrals:
        row = one.decision
        if row.until_on:
            title = f"Deferral expires: {row.bearing.place.tag} {row.bearing.name}"
            yield _days(
                f"deferral {row.pk}",
                site,
                title,
                row.until_on,
                text=f"{row.owner_role} answers. Meanwhile: {row.extra_checks}",
            )


def _days(
    what: str, site: str, title: str, first: dt.date, last: dt.date | None = None, text: str = ""
) -> Event:
    """An event of whole days; DTEND is the day after the last (RFC 5545, 3.6.1)."""
    event = Event()
    # The same thing keeps its UID from export to export, so that a reader replaces it (RFC 5545, 3.8.4.7).
    event.add("uid", f"{hashlib.sha256(f'{site} {what}'.encode()).hexdigest()[:32]}@clearance-ledger")
    event.add("summary", _plain(title))
    event.add("dtstart", first)
    event.add("dtend", (last or first) + dt.timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    if text:
        event.add("description", text)
    return event


def _plain(text: str) -> str:
    """Without the spaces that keep figures and units together on a page."""
    return text.replace("\u00a0", " ")
