"""What a plan leaves undone needs the agreement that putting work off needs: which bearings, and whose is
missing.

The levels and rights are `inspections.deferrals`; nobody accepts a plan past them with words alone.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from dashboards.outage_plan.drafts import Weighed, accepted
from dashboards.outage_plan.proposal import accepted_jobs
from fleet.models import Site
from inspections.deferrals.deferral_states import IN_FORCE, WAITING, PutOff, at_sites, done_on
from inspections.models import DraftPlan


@dataclass(frozen=True)
class Undone:
    """A bearing that a plan leaves undone without an agreement in force: why, out of which outage of the
    accepted plan (its inner id; blank: none), and whom what was asked waits for (blank: nobody was asked).
    """

    bearing: UUID
    name: str
    why: str
    outage: str = ""
    waits_for: str = ""

    @property
    def words(self) -> str:
        """What it lacks, as a sentence."""
        if self.waits_for:
            return f"{self.name} {self.why}: what was asked waits for {self.waits_for}."
        return f"{self.name} {self.why}: ask to put it off or to open it, or change the plan."


def standing_at(site: Site, on: dt.date) -> dict[UUID, list[PutOff]]:
    """By bearing, the deferrals and openings outside an outage that hold or wait on a day."""
    found: dict[UUID, list[PutOff]] = {}
    for some in at_sites([site], on):
        for one in some:
            if one.state in (IN_FORCE, WAITING):
                found.setdefault(one.bearing.pk, []).append(one)
    return found


def undone(
    draft: DraftPlan,
    above: Iterable[str],
    jobs: Mapping[str, str],
    agreed: Mapping[UUID, Sequence[PutOff]],
) -> list[Undone]:
    """The bearings that a plan leaves above their accepted risk, or takes out of the accepted plan's outage,
    without an agreement.

    Parameters
    ----------
    above : iterable of str
        names of the bearings that stay above their accepted risk.
    jobs : mapping
        name of a bearing to the name of the outage in which the plan opens it.
    agreed : mapping
        what holds or waits, by bearing.
    """
    ids = draft.solved["ids"]["bearings"]
    found = dict.fromkeys(above, ("stays above its accepted risk", ""))
    for name, outage in _taken_out(draft, jobs):
        why = f"is taken out of {outage}, where the accepted plan opens it"
        found.setdefault(name, (why, draft.solved["ids"]["outages"].get(outage, "")))
    made = []
    for name, (why, outage) in found.items():
        own = agreed.get(UUID(ids[name]), ())
        waiting = [one for one in own if one.state == WAITING]
        if not holds(own):
            waits_for = waiting[-1].missing_words if waiting else ""
            made.append(Undone(UUID(ids[name]), name, why, outage, waits_for))
    return made


def not_agreed(draft: DraftPlan, weighed: Weighed, agreed: Mapping[UUID, Sequence[PutOff]]) -> list[Undone]:
    """The same of a plan as it was weighed for its acceptance."""
    ids = draft.solved["ids"]
    names = {pk: name for name, pk in ids["bearings"].items()}
    outages = {pk: name for name, pk in ids["outages"].items()}
    jobs = {names[job["bearing"]]: outages.get(job["outage"], "") for job in weighed.jobs}
    return undone(draft, [names[one["bearing"]] for one in weighed.above], jobs, agreed)


def holds(agreed: Sequence[PutOff]) -> bool:
    """Whether an agreement for a bearing is in force."""
    return any(one.state == IN_FORCE for one in agreed)


def words_of(agreed: Sequence[PutOff]) -> str:
    """Who asked, why and who agreed, of what holds; empty where nothing does."""
    held = [one for one in agreed if one.state == IN_FORCE]
    if not held:
        return ""
    last = held[-1]
    what = "to be opened on" if last.is_opening else "runs on until"
    return "; ".join(
        [
            f"{what} {last.until_on}, asked by {last.asked_by}: “{last.reason}”",
            *(a.words for a in last.answers),
        ]
    )


def _taken_out(draft: DraftPlan, jobs: Mapping[str, str]) -> list[tuple[str, str]]:
    """Bearing and outage of each job of the accepted plan that the plan puts later or drops, by hand or
    worked out anew; not where the bearing was opened since, for then nothing is put off.
    """
    plan = accepted(draft.site)
    if plan is None or plan.accepted_on is None:
        return []
    ids = draft.solved["ids"]["bearings"]
    starts = {one[0]: one[1] for one in draft.inputs["plan"]["outages"]} if "plan" in draft.inputs else {}
    later = [
        (job.bearing, job.outage)
        for job in accepted_jobs(draft.site) or ()
        if job.bearing in ids
        and job.outage in starts
        and starts.get(jobs.get(job.bearing, ""), "9999") > starts[job.outage]
    ]
    done = done_on(UUID(ids[bearing]) for bearing, _ in later) if later else {}
    return [
        (bearing, outage)
        for bearing, outage in later
        if done.get(UUID(ids[bearing]), dt.date.min) < plan.accepted_on
    ]
