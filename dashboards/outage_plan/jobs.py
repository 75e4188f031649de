"""The worker's job that plans one site's outages anew."""

from urllib.parse import urlencode

from django.urls import reverse

from dashboards.outage_plan.drafts import NotPlanned
from dashboards.outage_plan.versions import propose
from fleet import background_jobs
from fleet.clock import today_at
from fleet.models import Job, Site
from inspections.forecasts.forecast_jobs import person_of


def plan_outages(job: Job, tell: background_jobs.Progress) -> background_jobs.Done:
    """Work one site's plan out anew and take it in hand."""
    site = Site.objects.standing().filter(pk=job.wanted.get("site")).first()
    if site is None:
        raise background_jobs.Undone("This site is not there any more.")
    try:
        draft = propose(site, today_at(site), by=person_of(job), tell=tell)  # type: ignore[arg-type]
    except NotPlanned as trouble:
        raise background_jobs.Undone(str(trouble)) from None
    n = len(draft.solved["jobs"])
    said = " ".join(draft.solved["refused"]) or f"{n} jobs are proposed, from the record of {draft.as_of}."
    return background_jobs.Done(f"{site.name}: {said}", f"{reverse('plan')}?{urlencode({'site': site.name})}")


def register_work() -> None:
    background_jobs.register("plan", "working the outage plan out anew", plan_outages)
