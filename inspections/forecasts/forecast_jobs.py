"""The worker's job that works the dates out anew."""

from fleet import background_jobs
from fleet.models import Account, Job
from fleet.plant.acts import COMMAND_LINE
from fleet.plant.people import person_named
from inspections.forecasts.refit import refit


def person_of(job: Job) -> object:
    """The inner id of who asked."""
    asked: Account | None = job.by
    return asked.person_id if asked else person_named(COMMAND_LINE).pk


def work_dates_out(job: Job, tell: background_jobs.Progress) -> background_jobs.Done:
    """Refit the fleet and store every bearing's forecast."""
    run = refit(by=person_of(job))  # type: ignore[arg-type]
    n = run.forecasts.count()
    tell(n, n)
    return background_jobs.Done(f"The dates of {n} bearings are worked out anew, as of {run.as_of}.", "/")


def register_work() -> None:
    background_jobs.register("forecast", "working the dates out anew", work_dates_out, right="work dates out")
