"""One piece of work in a process of its own, with a fault at a chosen step of it.

A step is each statement to the database, and the moment before and the moment after each commit. The process
is a fork, so that a round costs milliseconds; nobody but the children ever talks to the database.
"""

import json
import os
import resource
import signal
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db import connection, connections


@dataclass(frozen=True)
class Ending:
    """How a child ended: what it answered, what it raised in words, or killed before it
    could say anything.
    """

    answer: Any = None
    raised: str = ""
    killed: bool = False


Fault = Callable[[], None]


def run(work: Callable[[], Any], fault: Fault | None = None) -> Ending:
    """Do work in a child and wait for it."""
    return wait(start(work, fault))


def start(work: Callable[[], Any], fault: Fault | None = None) -> tuple[int, int]:
    """Begin work in a child; answers its process id and the pipe it answers on."""
    connections.close_all()
    reads, writes = os.pipe()
    pid = os.fork()
    if pid:
        os.close(writes)
        return pid, reads
    status = 1
    try:
        os.close(reads)
        if fault is not None:
            fault()
        _say(writes, {"answer": work()})
        status = 0
    except BaseException as trouble:
        _say(writes, {"raised": f"{type(trouble).__name__}: {trouble}"[:500]})
    finally:
        os._exit(status)  # no clean-up: a child that ends well ends as abruptly as one that was killed


def _say(pipe: int, what: dict[str, Any]) -> None:
    os.write(pipe, json.dumps(what, default=str).encode())


def wait(child: tuple[int, int]) -> Ending:
    """What a child said before it ended."""
    pid, pipe = child
    with os.fdopen(pipe, "rb") as heard:
        text = heard.read()
    _, status = os.waitpid(pid, 0)
    if os.WIFSIGNALED(status) or not text:
        return Ending(killed=True)
    return Ending(**json.loads(text))


class Steps:
    """Counts the steps of the work, and strikes at one of them (0: at none)."""

    def __init__(self, at: int = 0, strike: Callable[[], None] | None = None) -> None:
        self.at, self.strike, self.n = at, strike or _kill_myself, 0

    def __call__(self) -> None:
        connection.execute_wrappers.append(self._statement)
        commit = connection._commit

        def committing() -> Any:
            self._step()
            done = commit()
            self._step()
            return done

        connection._commit = committing  # type: ignore[method-assign]

    def _statement(self, execute: Any, *given: Any) -> Any:
        self._step()
        return execute(*given)

    def _step(self) -> None:
        self.n += 1
        if self.n == self.at:
            self.strike()


def _kill_myself() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def kill_database() -> None:
    """Kill the server process of this connection: PostgreSQL then ends every session and recovers from its
    log.
    """
    os.kill(connection.connection.info.backend_pid, signal.SIGKILL)


def full_disk(size: int) -> Fault:
    """No file of the child may grow beyond so many bytes: SQLite hears of it as of a full disk."""

    def limit() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))

    return limit
