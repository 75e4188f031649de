"""Long work that a page asks for and `manage.py worker` does: asked once, taken once, its progress told."""

import datetime as dt
import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

from django.db import DatabaseError, connection, transaction

from fleet.clock import now
from fleet.models import Account, Job
from fleet.registry import ByName

log = logging.getLogger(__name__)
# A worker gives a sign of life so often; one that gives none for so long is taken to have stopped.
BEAT_S = 10.0
SILENT = dt.timedelta(minutes=1)


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
    """A kind of long work. `words` says what it is, as in "working the dates out anew".

    `right`: whoever holds this right may ask, and what comes of it is the same for all of them: one job
    answers them all.
    """

    kind: str
    words: str
    do: Callable[[Job, Progress], Done]
    right: str = ""


WORKS = ByName[Work]("long work")


def register(kind: str, words: str, do: Callable[[Job, Progress], Done], *, right: str = "") -> None:
    """Make a kind of work known; each app does so in its `AppConfig.ready()`."""
    WORKS.add(kind, Work(kind, words, do, right))


def ask(kind: str, *, by: Account | None, wanted: dict[str, Any] | None = None) -> Job:
    """Ask for work; the same work that still waits is not asked for twice, by nobody where one job answers
    all.

    Raises
    ------
    LookupError
        for a kind nobody registered.
    """
    asked_by = {} if WORKS[kind].right else {"by": by}
    wanted = wanted or {}
    with transaction.atomic():
        waiting = Job.objects.filter(kind=kind, state=Job.State.WAITING, **asked_by)
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
        with _signs_of_life(job):
            done = WORKS[job.kind].do(job, lambda n, of, words="": _tell(job, n, of, words))
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


@contextmanager
def _signs_of_life(job: Job) -> Iterator[None]:
    """While a job is done a second thread says so; where the database is busy with the work itself, the next
    beat does.
    """
    over = threading.Event()

    def beat() -> None:
        while not over.wait(BEAT_S):
            try:
                Job.objects.filter(pk=job.pk).update(beat_at=now())
            except DatabaseError:
                log.info("no sign of life of job %s: the database was busy", job.pk)
        connection.close()

    thread = threading.Thread(target=beat, name=f"job {job.pk}", daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


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
    """Whether a job waits, or stands begun, for longer than a worker that is there would let it."""
    if job.state == Job.State.RUNNING:
        return job.beat_at is not None and now() - job.beat_at > SILENT
    if job.state != Job.State.WAITING or now() - job.asked_at < dt.timedelta(seconds=15):
        return False
    return not Job.objects.filter(state=Job.State.RUNNING).exists()
