"""Alterations behind the site's back, found or not; and lawful histories, none of which may raise an alarm.

python -m tests.bench.tamper [--tables 20000] [--n 20000] [--lawful 2000]        prints tables

In a scratch SQLite file of its own; BENCH_URL names another database, an empty one: .ci/with_postgres sh -c
'BENCH_URL=$DATABASE_URL python -m tests.bench.tamper'. `--tables`: of every column and row of every table
that the check covers (`tamper_tables`). `--n`: of the ledger.

Every second alteration of the ledger is made by somebody who also writes all hashes, heads and seals anew.
What a seal kept outside covers must be found whatever he does; what came after that seal he can write anew
unseen, and the table says so. Typed rows are left out of that look, as if he had made them fit too.
"""

import argparse
import datetime as dt
import json
import os
import random
import tempfile
import time
import uuid
from collections import Counter
from pathlib import Path

folder = tempfile.TemporaryDirectory()
os.environ["DATABASE_URL"] = (
    os.environ.get("BENCH_URL") or f"sqlite:///{Path(folder.name) / 'record.sqlite3'}"
)
os.environ["PLAIN_HTTP"] = "yes"
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
import django

django.setup()

from django.core.management import call_command
from django.db import transaction

from fleet.ledger.canonical import GENESIS, canonical, sha256
from fleet.ledger.outside_seals import compared, read_paper
from fleet.ledger.seal import leaves, root_of, seal_now
from fleet.ledger.verify import verify
from fleet.models import Chain, Entry, Seal
from inspections.models import Reading
from inspections.records.corrections import correct_reading, set_not_for_wear
from tests import makers
from tests.bench import tamper_tables
from tests.every_table import Undo, rows_everywhere
from tests.fleet.ledger.story import guards_lifted

WHAT = ("a digit", "a date", "the author", "deleted", "two swapped", "one put in", "the tail cut")


def some_record(rng: random.Random, n_bearings: int) -> None:
    """A few bearings with readings, scrapes, corrections and withdrawals."""
    for _ in range(n_bearings):
        bearing = makers.a_bearing()
        for act in range(rng.randint(4, 9)):
            something(rng, bearing, act)


def something(rng: random.Random, bearing, number: int) -> None:
    """One lawful act at a bearing."""
    on = dt.date(2010, 1, 1) + dt.timedelta(days=rng.randrange(4000))
    standing = list(Reading.objects.standing().filter(bearing=bearing))
    kind = rng.randrange(5) if standing else 0
    by = makers.somebody()
    if kind <= 1:
        makers.a_reading(bearing=bearing, on=on, value=f"0.{rng.randrange(130, 290)}")
    elif kind == 2:
        makers.an_event(bearing=bearing, on=on, kind=rng.choice(["scrape", "oil", "shell_change"]))
    elif kind == 3:
        correct_reading(
            reading=rng.choice(standing), by=by, reason="typed wrong", value=f"0.{rng.randrange(130, 290)}"
        )
    else:
        set_not_for_wear(reading=rng.choice(standing), by=by, reason=f"warm shell {number}")


def paper_now() -> dict:
    """A seal as it leaves the house."""
    seal, all_leaves = seal_now(by=makers.somebody())
    return {"seal": seal.text, "hash": seal.hash, "leaves": all_leaves}


def alter(rng: random.Random, what: str) -> list[tuple[str, int]]:
    """Change the ledger without its guards; gives the chains and numbers where it was touched."""
    entry = rng.choice(list(Entry.objects.all()))
    text = entry.text
    if what == "the author":
        Entry.objects.filter(pk=entry.pk).update(text=text.replace(str(entry.by), str(uuid.uuid4())))
    elif what == "a digit":
        # Within what was recorded: a digit of a link or number is put back by whoever writes all anew.
        begin, end = text.index('"body":'), text.index(',"by":')
        places = [i for i in range(begin, end) if text[i].isdigit()]
        at = rng.choice(places)
        other = rng.choice([d for d in "0123456789" if d != text[at]])
        Entry.objects.filter(pk=entry.pk).update(text=text[:at] + other + text[at + 1 :])
    elif what == "a date":
        said = json.loads(text)
        said["recorded_at"] = f"20{rng.randrange(10, 26)}-01-01T00:00:00.000000Z"
        Entry.objects.filter(pk=entry.pk).update(text=canonical(said))
    elif what == "deleted":
        entry.delete()
    elif what == "two swapped":
        other = rng.choice(list(Entry.objects.exclude(pk=entry.pk)))
        Entry.objects.filter(pk=entry.pk).update(text=other.text)
        Entry.objects.filter(pk=other.pk).update(text=text)
        return [(entry.chain, entry.n), (other.chain, other.n)]
    elif what == "one put in":
        for later in Entry.objects.filter(chain=entry.chain, n__gt=entry.n).order_by("-n"):
            Entry.objects.filter(pk=later.pk).update(n=later.n + 1)
        Entry.objects.create(
            chain=entry.chain,
            n=entry.n + 1,
            act=uuid.uuid4(),
            kind=entry.kind,
            thing=entry.thing,
            by=entry.by,
            recorded_at=entry.recorded_at,
            format=1,
            text=text,
            hash=entry.hash,
        )
        return [(entry.chain, entry.n + 1)]
    else:
        Entry.objects.filter(chain=entry.chain, n__gte=entry.n).delete()
    return [(entry.chain, entry.n)]


def write_anew() -> None:
    """All hashes, links, numbers, heads and seals made to fit what the entries say now."""
    for chain in Chain.objects.all():
        prev, n = GENESIS, 0
        for entry in Entry.objects.filter(chain=chain.id).order_by("n"):
            n += 1
            said = json.loads(entry.text)
            said |= {"prev": prev, "n": n, "chain": chain.id}
            text = canonical(said)
            prev = sha256(text)
            Entry.objects.filter(pk=entry.pk).update(
                n=n,
                text=text,
                hash=prev,
                act=said["act"],
                by=said["by"],
                kind=said["kind"],
                format=said["format"],
                recorded_at=dt.datetime.fromisoformat(said["recorded_at"]),
                thing=said["body"].get("id"),
            )
        Chain.objects.filter(pk=chain.pk).update(n=n, head=prev)
    now, prev = leaves(), GENESIS
    for seal in Seal.objects.order_by("n"):
        said = json.loads(seal.text) | {"prev": prev, "root": root_of(now), "changed": now}
        text = canonical(said)
        prev = sha256(text)
        Seal.objects.filter(pk=seal.pk).update(text=text, root=said["root"], hash=prev)


def alterations(n: int, rng: random.Random, kept: dict) -> Counter:
    """How many of each kind were made and found: counted by (what, written anew, covered by the seal kept,
    found).
    """
    covered = {leaf["chain"]: leaf["n"] for leaf in kept["leaves"]}
    counts: Counter = Counter()
    for number in range(n):
        what, anew = WHAT[number % len(WHAT)], number % 2 == 1
        try:
            with transaction.atomic():
                touched = alter(rng, what)
                if anew:
                    write_anew()
                faults = verify(rows=False).faults + compared(
                    "kept.json", read_paper(json.dumps(kept), "kept.json")
                )
                under = any(at <= covered.get(chain, 0) for chain, at in touched)
                counts[what, anew, under, bool(faults)] += 1
                counts["named"] += any(chain in fault for chain, _ in touched for fault in faults)
                counts["found"] += bool(faults)
                raise Undo
        except Undo:
            pass
        except (ValueError, KeyError):
            counts[what, anew, True, True] += (
                1  # a text that is no entry any more could not even be written anew
            )
    return counts


def lawful(n: int, rng: random.Random) -> int:
    """How many of so many lawful histories raise an alarm."""
    alarms = 0
    for _ in range(n):
        try:
            with transaction.atomic():
                before = paper_now() if rng.random() < 0.5 else None
                some_record(rng, rng.randint(1, 2))
                paper_now()
                found = verify()
                alarms += bool(
                    found.faults
                    or (before and compared("kept.json", read_paper(json.dumps(before), "kept.json")))
                )
                raise Undo
        except Undo:
            pass
    return alarms


def every_table(n: int) -> None:
    """So many alterations over all tables, and what is not covered; nothing of it stays."""
    rng = random.Random(11)
    try:
        with transaction.atomic():
            rows_everywhere()
            kept, began = paper_now(), time.perf_counter()
            assert verify().faults == []
            counts = tamper_tables.alterations(n, rng, kept, write_anew)
            tamper_tables.told(counts, time.perf_counter() - began)
            made, found, names = tamper_tables.uncovered(rng)
            print(f"\nnot covered: {len(names)} columns, {made} altered, {found} found\n")
            raise Undo
    except Undo:
        pass


def the_ledger(n: int, rng: random.Random) -> None:
    """So many alterations of the ledger, told by kind."""
    some_record(rng, 4)
    kept = paper_now()
    some_record(rng, 1)
    paper_now()
    began = time.perf_counter()
    with guards_lifted():
        counts = alterations(n, rng, kept)
    print(
        f"{n} alterations of a record of {Entry.objects.count()} entries,"
        f" {time.perf_counter() - began:.0f} s\n"
    )
    print(
        "| altered | hashes left | found | written anew, under the kept seal | found | written anew, after it"
        " | found |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for what in WHAT:
        cells = []
        for anew, unders in ((False, (True, False)), (True, (True,)), (True, (False,))):
            made = sum(counts[what, anew, under, found] for under in unders for found in (True, False))
            cells += [made, sum(counts[what, anew, under, True] for under in unders)]
        print(f"| {what} | " + " | ".join(map(str, cells)) + " |")
    print(f"\nof {counts['found']} found, the chain is named in {counts['named']}")


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--tables", type=int, default=20_000)
    options.add_argument("--n", type=int, default=20_000)
    options.add_argument("--lawful", type=int, default=2_000)
    given = options.parse_args()
    rng = random.Random(7)
    call_command("migrate", verbosity=0)
    if given.tables:
        every_table(given.tables)
    if given.n:
        the_ledger(given.n, rng)
    if given.lawful:
        began = time.perf_counter()
        alarms = lawful(given.lawful, rng)
        print(
            f"\n{given.lawful} lawful histories: {alarms} false alarms, {time.perf_counter() - began:.0f} s"
        )


if __name__ == "__main__":
    main()
