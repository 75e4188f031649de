"""Long work that a page asks for and `manage.py worker` does: asked once, taken once, its progress told."""

import datetime as dt
import logging
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from django.db import connection, transaction

from fleet.clock import now
from fleet.models import Account, Job

log = logging.getLogger(__name__)
# A worker that says nothing for so long is taken to have stopped.
SILENT = dt.timedelta(minutes=10)


class Progress(Protocol):
    """How far a job is: so many of so many, and what is done now."""

    def __call__(self, n: int, of: int, words: str = "") -> None:
        """Say it; the job's page shows it when it looks again."""


@dataclass(frozen=True)
class Done:
    """How a job ended: a sentence, and the page that shows what came of it."""

    sentence: str
    address: str = ""


class Undone(Exception):
    """A job that cannot be done, with the sentence that says why and what to do."""


@dataclass(frozen=True)
class Work:
    """A kind of long work. `words` says what it is, as in "working the dates out anew"."""

    kind: str
    words: str
    do: Callable[[Job, Progress], Done]


_WORKS: dict[str, Work] = {}


def register(kind: str, words: str, do: Callable[[Job, Progress], Done]) -> None:
    """Make a kind of work known; each app does so in its `AppConfig.ready()`."""
    _WORKS[kind] = Work(kind, words, do)


def work(kind: str) -> Work:
    """The work of that kind.

    Raises
    ------
    LookupError
        for a kind nobody registered.
    """
    if kind not in _WORKS:
        raise LookupError(f"no long work is called '{kind}'; known are: {', '.join(sorted(_WORKS))}")
    return _WORKS[kind]


def ask(kind: str, *, by: Account | None, wanted: dict[str, Any] | None = None) -> Job:
    """Ask for work; the same work that still waits is not asked for twice.

    Raises
    ------
    LookupError
        for a kind nobody registered.
    """
    work(kind)
    wanted = wanted or {}
    with transaction.atomic():
        waiting = Job.objects.filter(kind=kind, state=Job.State.WAITING, by=by)
        for job in waiting.order_by("asked_at"):
            if job.wanted == wanted:
                return job
        return Job.objects.create(kind=kind, by=by, wanted=wanted)


def do_next() -> Job | None:
    """Take the job asked for first and do it; None where none waits."""
    job = _take()
    if job is None:
        return None
    try:
        done = work(job.kind).do(job, lambda n, of, words="": _tell(job, n, of, words))
        state, said, address = Job.State.DONE, done.sentence, done.address
    except (Undone, LookupError) as refused:
        state, said, address = Job.State.FAILED, str(refused), ""
    except Exception as trouble:  # one job's trouble must not end the worker
        log.exception("job %s of the kind %s failed", job.pk, job.kind)
        state, said, address = (
            Job.State.FAILED,
            f"It failed ({type(trouble).__name__}); the log says more.",
            "",
        )
    Job.objects.filter(pk=job.pk).update(state=state, said=said[:500], address=address[:300], ended_at=now())
    job.refresh_from_db()
    return job


def _take() -> Job | None:
    with transaction.atomic():
        _give_up_silent_ones()
        waiting = Job.objects.select_for_update(
            skip_locked=connection.features.has_select_for_update_skip_locked
        )
        waiting = waiting.filter(state=Job.State.WAITING)
        job = waiting.order_by("asked_at").first()
        if job is None:
            return None
        job.state, job.begun_at, job.beat_at = Job.State.RUNNING, now(), now()
        job.save(update_fields=["state", "begun_at", "beat_at"])
    return job


def _give_up_silent_ones() -> None:
    silent = Job.objects.filter(state=Job.State.RUNNING, beat_at__lt=now() - SILENT)
    silent.update(
        state=Job.State.FAILED,
        ended_at=now(),
        said="The worker stopped before it was done. Nothing was half stored; ask again.",
    )


def _tell(job: Job, n: int, of: int, words: str = "") -> None:
    Job.objects.filter(pk=job.pk).update(done=n, of=of, said=words[:500], beat_at=now())


def waits_for_a_worker(job: Job) -> bool:
    """Whether a job has waited for longer than a worker that is there would let it."""
    if job.state != Job.State.WAITING or now() - job.asked_at < dt.timedelta(seconds=15):
        return False
    return not Job.objects.filter(state=Job.State.RUNNING).exists()
