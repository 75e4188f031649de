"""What many do at once, and devices whose answers are lost, doubled or come in another order."""

import datetime as dt
import os
import random
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from django.db import connection, transaction

from tests.faults import acts, children

if TYPE_CHECKING:
    from tests.faults.rounds import Rounds, Tally

ENTRIES = 8
LOST = 0.3
WRITERS = 3


def without_transactions(act: Callable[[], Any]) -> Callable[[], Any]:
    """The act with every statement committed for itself: what the rounds must find half done."""

    def bare() -> Any:
        connection.features.has_select_for_update = False  # it asks for a transaction
        with connection.cursor() as cursor:  # rows point to others that come later in the same transaction
            off = (
                "PRAGMA foreign_keys=OFF"
                if connection.vendor == "sqlite"
                else "SET session_replication_role = replica"
            )
            cursor.execute(off)
        nothing = lambda *_: None  # noqa: E731
        transaction.Atomic.__enter__ = nothing  # type: ignore[method-assign]
        transaction.Atomic.__exit__ = nothing  # type: ignore[method-assign]
        return act()

    return bare


def _queue(session: str, numbers: range, chance: random.Random, *, keeps: bool = True) -> None:
    """A device that sends until nothing is left: batches in any order, answers lost or doubled; `keeps` off,
    it drops what it sent whatever the answer (the control).
    """
    waiting = {entry["id"]: entry for entry in map(acts.an_entry, numbers)}
    for _ in range(200):
        if not waiting:
            return
        batch = chance.sample(sorted(waiting), min(len(waiting), chance.randint(1, 4)))
        entries = [waiting[name] for name in batch]
        lost_on_the_way = chance.random() < LOST
        answers = [] if lost_on_the_way else acts.send(session, entries)
        if chance.random() < LOST and not lost_on_the_way:
            acts.send(session, entries)
        if chance.random() < LOST:
            answers = []
        chance.shuffle(answers)
        hashes = {acts.sent(entry)["sha256"]: entry["id"] for entry in entries}
        for answer in answers:
            if answer["state"] in ("stored", "already") and hashes.get(answer["sha256"]) == answer["id"]:
                waiting.pop(answer["id"], None)
        if not keeps:
            for name in batch:
                waiting.pop(name, None)
    raise AssertionError(f"{len(waiting)} entries never answered")


def _held(rounds: "Rounds", tally: "Tally", wanted: int) -> None:
    """As many readings as entries, each once, and a sound record."""
    there = rounds.asked(acts.readings)
    new = len(there) - 1
    tally.note(
        "stored" if new == wanted else "lost" if new < wanted else "doubled",
        "" if new == wanted else str(new),
    )
    for words in rounds.asked(acts.faults)[:1]:
        tally.note("unsound", words)


def lossy_device(rounds: "Rounds", tally: "Tally") -> None:
    """30 % of what is sent and of the answers are lost, as much comes twice, in any order."""
    tally.note("rounds")
    seed = rounds.random.random()
    ending = children.run(lambda: _queue(rounds.session, range(1, ENTRIES + 1), random.Random(seed)))
    if ending.raised:
        tally.note("lost", ending.raised)
    _held(rounds, tally, ENTRIES)


def careless_device(rounds: "Rounds", tally: "Tally") -> None:
    """The control: a device that drops what it sent without waiting for its receipt."""
    tally.note("rounds")
    seed = rounds.random.random()
    children.run(lambda: _queue(rounds.session, range(1, ENTRIES + 1), random.Random(seed), keeps=False))
    if len(rounds.asked(acts.readings)) - 1 < ENTRIES:
        tally.note("lost")


def _until_answered(session: str, numbers: range) -> None:
    """A device that sends one by one, again where the server or its database went away."""
    from django.db import connections

    for number in numbers:
        for _ in range(400):
            try:
                (answer,) = acts.send(session, [acts.an_entry(number)])
            except Exception:
                connections.close_all()
                time.sleep(0.05)
                continue
            if answer["state"] in ("stored", "already"):
                break
            time.sleep(0.05)
        else:
            raise AssertionError(f"entry {number} was never answered")


def killed_under_load(rounds: "Rounds", tally: "Tally") -> None:
    """Three devices send at once; meanwhile a server process is killed (and begun anew), on PostgreSQL the
    database's.
    """
    tally.note("rounds")
    each = 4
    spans = [range(1 + k * each, 1 + (k + 1) * each) for k in range(WRITERS)]
    begun = [children.start(lambda span=span: _until_answered(rounds.session, span)) for span in spans]  # type: ignore[misc]
    for _ in range(3):
        time.sleep(rounds.random.uniform(0.02, 0.3))
        if rounds.databases.is_server:
            rounds.databases.kill_one()  # type: ignore[union-attr]
    if not rounds.databases.is_server:
        os.kill(begun[0][0], 9)
    endings = [children.wait(child) for child in begun]
    for span, ending in zip(spans, endings, strict=True):
        raised = ending.raised
        if ending.killed:
            raised = children.run(lambda span=span: _until_answered(rounds.session, span)).raised  # type: ignore[misc]
        if raised:
            tally.note("lost", raised)
    _held(rounds, tally, each * WRITERS)


def _gate() -> tuple[Callable[[], None], Callable[[], None]]:
    """Children that wait at it begin at one instant, once it is opened."""
    reads, writes = os.pipe()

    def wait() -> None:
        os.close(writes)
        os.read(reads, 1)

    def open_it() -> None:
        os.close(writes)
        os.close(reads)

    return wait, open_it


def _at_once(*works: Callable[[], Any]) -> list[children.Ending]:
    wait, open_it = _gate()

    def after(work: Callable[[], Any]) -> Callable[[], Any]:
        def waited() -> Any:
            connection.ensure_connection()
            wait()
            return work()

        return waited

    begun = [children.start(after(work)) for work in works]
    time.sleep(0.05)
    open_it()
    return [children.wait(child) for child in begun]


def two_editors(rounds: "Rounds", tally: "Tally") -> None:
    """Two engineers correct one reading at one instant: one correction stands, the other
    is refused and told.
    """
    from inspections.models import Reading
    from inspections.records.corrections import correct_reading

    def correct(value: str) -> Callable[[], str]:
        def do() -> str:
            reading = Reading.objects.standing().get(visit=acts.the_visit())
            row = correct_reading(
                reading=reading, by=acts.engineer().person_id, reason="typed wrong", value=value
            )
            return str(row.pk)

        return do

    tally.note("rounds")
    endings = _at_once(correct("0.191"), correct("0.192"))
    there = rounds.asked(acts.readings)
    answered = [ending.answer for ending in endings if not ending.raised]
    if len(there) != 1:
        tally.note("doubled" if len(there) > 1 else "lost", str(there))
    elif there != answered[-1:] and there != answered[:1]:
        tally.note("lost", f"{there} stands, {answered} were answered")
    else:
        tally.note("stored")
    for words in rounds.asked(acts.faults)[:1]:
        tally.note("unsound", words)


def two_workers(rounds: "Rounds", tally: "Tally") -> None:
    """Two workers take the one job that waits at one instant: it is done once."""
    from fleet import background_jobs

    def take() -> bool:
        return background_jobs.do_next() is not None

    tally.note("rounds")
    endings = _at_once(take, take)
    there = rounds.asked(acts.runs)
    if any(ending.raised for ending in endings):
        tally.note("lost", str([ending.raised for ending in endings]))
    elif there != {"runs": 1, "half": 0}:
        tally.note("doubled" if there["runs"] > 1 else "half", str(there))
    else:
        tally.note("stored")


def clock_set_back(rounds: "Rounds", tally: "Tally") -> None:
    """A limit is set, the clock goes back two days, another is set: the one set last holds."""
    from decimal import Decimal

    from fleet import clock
    from fleet.ledger import writing
    from fleet.models import Bearing, Limit
    from fleet.plant.limits import set_limits

    def limited(value: str, days: int) -> Callable[[], None]:
        def do() -> None:
            if days:
                writing.recorded_now = lambda: clock.recorded_now() - dt.timedelta(days=days)  # type: ignore[attr-defined]
            bearing = Bearing.objects.get(place__tag="Worn", name="DE")
            set_limits([bearing], {"in_service_max": Decimal(value)}, by=acts.engineer().person_id)

        return do

    def holds() -> str:
        bearing = Bearing.objects.get(place__tag="Worn", name="DE")
        return str(
            Limit.objects.filter(bearing=bearing).holding_on(acts.TODAY, "use")["in_service_max"].value_um
        )

    tally.note("rounds")
    for value, days in (("240", 0), ("260", 2)):
        ending = children.run(limited(value, days))
        if ending.raised:
            tally.note("lost", ending.raised)
    held = rounds.asked(holds)
    tally.note("stored" if "260" in held else "lost", "" if "260" in held else held)
    for words in rounds.asked(acts.faults)[:1]:
        tally.note("unsound", words)


KINDS: "dict[str, Callable[[Rounds, Tally], None]]" = {
    "device, 30 % lost, doubled, in any order": lossy_device,
    "killed under load, three devices": killed_under_load,
    "two editors of one reading": two_editors,
    "two workers, one job": two_workers,
    "clock set back two days": clock_set_back,
}
