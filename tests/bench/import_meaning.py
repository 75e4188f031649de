"""Sheets changed in meaning, read by the plan and the answers of the sheet as it was: none may change a
stored value unseen.

python -m tests.bench.import_meaning [--n 2000] [--first 0]
"""

import argparse
import os
import random
import tempfile
import time
from collections import Counter, defaultdict

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ.setdefault("PLAIN_HTTP", "yes")
_FOLDER = tempfile.TemporaryDirectory()
os.environ["DATABASE_URL"] = f"sqlite:///{_FOLDER.name}/meaning.sqlite3"
import django

django.setup()

from django.core.management import call_command

from tests.imports import mutations

SHEETS = 20


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--n", type=int, default=2000)
    options.add_argument("--first", type=int, default=0)
    given = options.parse_args()
    call_command("migrate", verbosity=0)
    began = time.perf_counter()
    site = mutations.works(random.Random(0))
    cases = [mutations.case_of(random.Random(n), site) for n in range(SHEETS)]
    kinds = (*mutations.TELLABLE, *mutations.UNTELLABLE)
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    tellable = set()
    for number in range(given.first, given.first + given.n):
        kind, case = kinds[number % len(kinds)], cases[number // len(kinds) % SHEETS]
        mutation = kind(random.Random(number), case.rows)
        what = mutations.outcome(case, mutation)
        counts[mutation.kind][what] += 1
        if kind in mutations.TELLABLE:
            tellable.add(mutation.kind)
            if what == "unseen":
                print(f"sheet {number}, {mutation.kind}: stored unseen")
    for kind, some in counts.items():
        told = ", ".join(f"{n} {what}" for what, n in some.most_common())
        print(f"{kind}{'' if kind in tellable else ' (nothing could tell)'}: {told}")
    unseen = sum(counts[kind]["unseen"] for kind in tellable)
    print(
        f"{given.n} sheets changed in meaning in {time.perf_counter() - began:.0f} s; {unseen} stored unseen"
    )
    assert not unseen


if __name__ == "__main__":
    main()
