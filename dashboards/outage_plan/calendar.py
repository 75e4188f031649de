"""A plan as an iCalendar file (RFC 5545): outages with their jobs, freeze days, last days to order, deferrals
that expire.
"""

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence

from icalendar import Calendar, Event

from dashboards.outage_plan.plan_sentences import job_words
from dashboards.outage_plan.proposal import Proposal
from fleet.formatting import chance, counted, hours
from fleet.models import Outage
from inspections.deferrals.deferral_states import PutOff

PRODUCT = "-//Clearance ledger//outage plan//EN"


def calendar(
    made: Proposal,
    deferrals: Sequence[PutOff],
    *,
    stamp: dt.datetime,
    label: str,
    of: str = "proposal",
    gone: Sequence[Outage] = (),
) -> bytes:
    """The plan of one site as a calendar of whole days; the same plan gives the same bytes.

    Parameters
    ----------
    stamp : datetime
        UTC; when the plan was worked out: each event's DTSTAMP (RFC 5545, 3.8.7.2).
    label : str
        which plan it is, for the calendar's name.
    of : str
        `accepted`, or any other plan: their events never share an id.
    gone : sequence
        outages cancelled since they were last exported: their events are sent as cancelled.
    """
    book = Calendar()
    book.add("prodid", PRODUCT)
    book.add("version", "2.0")
    book.add("method", "PUBLISH")
    book.add("x-wr-calname", f"{made.site.name}: {label}")
    for event in (*_events(made, deferrals, of), *_cancelled(made, gone, of)):
        event.add("dtstamp", stamp.replace(microsecond=0))
        # A later export of the same event supersedes an earlier one (RFC 5545, 3.8.7.4): minutes since 1970
        # rise.
        event.add("sequence", int(stamp.timestamp()) // 60)
        book.add_component(event)
    return book.to_ical()


def _key(made: Proposal, outage: str) -> str:
    """What an outage's events are known by: its inner id, which a new name does not change."""
    return made.outage_ids.get(outage, outage)


def _cancelled(made: Proposal, gone: Sequence[Outage], of: str) -> Iterator[Event]:
    """The events of outages that do not take place any more (RFC 5545, 3.8.1.11)."""
    left_out = [one for one in (made.inputs.outages if made.inputs else ()) if one.skipped]
    where = f"{made.site.pk} {of}"
    for key, name, first, last in (
        *((_key(made, one.name), one.name, one.start_on, one.end_on) for one in left_out),
        *((str(one.pk), one.name, one.start_on, one.end_on) for one in gone),
    ):
        for what, title in (
            ("outage", f"Cancelled: {name}"),
            ("freeze", f"Cancelled: scope freeze of {name}"),
        ):
            event = _days(f"{what} {key}", where, title, first, last if what == "outage" else None)
            event.add("status", "CANCELLED")
            yield event


def _events(made: Proposal, deferrals: Sequence[PutOff], of: str) -> Iterator[Event]:
    if made.inputs is None or made.evaluation is None:
        return
    site = f"{made.site.pk} {of}"
    for outage in made.inputs.outages:
        if outage.skipped:
            continue
        jobs = [job for job in made.evaluation.jobs if job.outage == outage.name]
        lines = [
            f"{job.bearing}: {job.reason} About {hours(job.crew_hours)}; {chance(job.p_max_before_work)}"
            " passed by then"
            for job in jobs
        ]
        if outage.between and not jobs:
            continue
        title = f"{outage.name}: {counted(len(jobs), 'job')}"
        yield _days(
            f"outage {_key(made, outage.name)}",
            site,
            title,
            outage.start_on,
            outage.end_on,
            _plain("\n".join(lines)),
        )
        if outage.scope_freeze_on:
            yield _days(
                f"freeze {_key(made, outage.name)}",
                site,
                f"Scope freezes: {outage.name}",
                outage.scope_freeze_on,
            )
    for order in made.orders:
        title = f"Last day to order: {order.family} for {order.bearing}"
        why = f"{job_words('open', order.outage)}; lead time {order.lead_time_days:.0f} days"
        day = max(order.order_by, made.as_of)
        bearing = made.bearing_ids.get(order.bearing, order.bearing)
        yield _days(f"order {bearing} {order.family}", site, title, day, text=why)
    for one in deferrals:
        title = f"Deferral expires: {one.bearing.place.tag} {one.bearing.name}"
        yield _days(f"deferral {one.id}", site, title, one.until_on, text=_plain(f"Meanwhile: {one.checks}"))


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
