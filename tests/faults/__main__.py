"""The rounds of faults as a table: `python -m tests.faults` (some 200 rounds), or `--rounds 2` for a look.

On SQLite as it stands; on PostgreSQL beside a cluster of its own, which it kills: `.ci/with_postgres python
-m tests.faults`. It ends with 1 where anything was lost, half done, doubled or unsound, or where a control
did not show what it must.
"""

import argparse
import os
import sys
import time
from pathlib import Path

HEAD = ("rounds", "stored", "not stored", "lost", "half", "doubled", "unsound")
WRONG = ("lost", "half", "doubled", "unsound")


def main() -> int:
    """Run the rounds and print their table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "--rounds", type=int, default=14, help="of each act and fault; half as many of what many do at once"
    )
    parser.add_argument("--seed", type=int, default=20261127)
    parser.add_argument(
        "--only", default="", metavar="WORD", help="acts and kinds with this word in their name"
    )
    asked = parser.parse_args()
    os.environ |= {
        "PLAIN_HTTP": "yes",
        "SECRET_KEY": "for-the-rounds-only-" + "0123456789" * 5,
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
        "AUDIT_LOG": os.devnull,
        "ALLOWED_HOSTS": "testserver",
    }
    address = os.environ.get("DATABASE_URL", "")
    import logging

    import django

    django.setup()
    logging.disable(logging.CRITICAL)  # each round fails on purpose
    from tests.faults.databases import Cluster, Files

    server = address.startswith("postgresql://")
    databases = Cluster(address) if server else Files()
    try:
        return _run(databases, asked.rounds, asked.seed, asked.only)
    finally:
        databases.done()


def _run(databases, n: int, seed: int, only: str) -> int:
    from django.urls import get_resolver

    from tests.faults import together
    from tests.faults.rounds import BASE, Rounds, Tally

    begun = time.monotonic()
    get_resolver().url_patterns  # noqa: B018  every page is loaded once, before the children
    session, folder = _made(databases)
    rounds = Rounds(databases, folder, session, seed)
    print(f"{'':52}" + "".join(f"{word:>11}" for word in HEAD), flush=True)
    wrong: list[str] = []
    for tally in rounds.all(n, only):
        _print(tally)
        wrong += [f"{tally.what}: {tally.n[word]} {word}" for word in WRONG if tally.n[word]]
        for words in tally.words[:3]:
            print(f"  {words}")
    careless = Tally("control: a device that drops what it sent")
    for _ in range(max(2, n // 4)):
        rounds.fresh(BASE)
        together.careless_device(rounds, careless)
    controls = {"half": rounds.control(max(4, n // 2)), "lost": careless}
    for word, tally in [*controls.items(), *([("lost", rounds.forgetful(2))] if databases.is_server else [])]:
        _print(tally)
        if not tally.n[word]:
            wrong.append(f"{tally.what} did not show what it must: these rounds would not see it")
    print(f"{time.monotonic() - begun:.0f} s, seed {seed}")
    print("\n".join(wrong) if wrong else "0 lost, 0 half done, 0 doubled, sound after each")
    return 1 if wrong else 0


def _print(tally) -> None:
    print(f"{tally.what:52}" + "".join(f"{tally.n[word]:>11}" for word in HEAD), flush=True)


def _made(databases) -> tuple[str, Path]:
    """An empty record and one that the rounds begin with."""
    import tempfile

    from tests.faults import acts, children
    from tests.faults.rounds import BASE, EMPTY

    folder = Path(tempfile.mkdtemp())
    if databases.is_server:
        databases.remembers(True)
    databases.new(EMPTY)
    databases.use(EMPTY)

    def migrated() -> None:
        from django.core.management import call_command

        call_command("migrate", verbosity=0)

    def made() -> str:
        return acts.make_base(folder)

    ending = children.run(migrated)
    assert not ending.raised, ending.raised
    databases.copy(EMPTY, BASE)
    databases.use(BASE)
    ending = children.run(made)
    assert not ending.raised, ending.raised
    return ending.answer, folder


if __name__ == "__main__":
    sys.exit(main())
