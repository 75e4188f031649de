"""A history of 20 000 rows with questions in a fifth of them: answers until nothing is asked, and seconds for
each look.

DATABASE_URL=sqlite:////path/of/a/scratch.sqlite3 PLAIN_HTTP=yes python -m tests.bench.import_questions
"""

import os
import random
import time

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
import django

django.setup()

from django.core.management import call_command

from fleet.importing.answers import Answers
from fleet.importing.loaders import LOADERS
from fleet.importing.loading import import_file
from fleet.models import Site
from tests import makers, sheet_makers

ROWS = 20_000
CHOSEN = {
    "spelt_otherwise": ("is", ""),
    "remark_names_work": ("yes", ""),
    "new_method": ("is", "feeler"),
    "run_hours_fall": ("drop", ""),
    "run_hours_rise": ("drop", ""),
    "jump": ("apart", "a slip"),
    "clearance_range": ("apart", "a slip"),
    "fall_without_event": ("right", ""),
    "position_spelt": ("is", ""),
    "tag_at_two_sites": ("site", "Test site 01"),
    "stored_otherwise": ("same", ""),
    "two_units_disagree": ("right", ""),
    "new_station": ("none", ""),
}


def doubtful(rows: list[dict], part: float = 0.2) -> list[dict]:
    """A fifth of the rows made doubtful: spellings, remarks that name work, a method's own word, hours that
    fall.
    """
    rng = random.Random(5)
    out = [dict(row) for row in rows]
    for row in rng.sample(out, int(part * len(out))):
        kind = rng.randrange(4)
        if kind == 0 and row["pump"].startswith("P-"):
            row["pump"] = row["pump"].replace("-", " ")
        elif kind == 1 and row["event"] == "reading":
            row["note"] = rng.choice(["scraped, ok", "scraped in", "new brgs", "nu brgs fitted"])
        elif kind == 2 and row.get("method"):
            row["method"] = "blades"
        elif row.get("run_hours"):
            row["run_hours"] = str(max(0, int(row["run_hours"]) - 60_000))
        else:
            row["pump"] = row["pump"].replace("P-", "p.")
    return out


def main() -> None:
    call_command("migrate", verbosity=0)
    if Site.objects.exists():
        raise SystemExit("the scratch record is not empty: give a new file")
    register = sheet_makers.csv_bytes(sheet_makers.register_rows(ROWS), sheet_makers.REGISTER_COLUMNS)
    assert makers.a_sheet(register.decode(), holds="register").ok
    data = sheet_makers.csv_bytes(doubtful(sheet_makers.history_rows(ROWS, 7)))
    answers, n = Answers(), 0
    for turn in range(6):
        began = time.perf_counter()
        result = import_file(
            data, "long.csv", holds="history", by=makers.somebody(), answers=answers, only_look=True
        )
        took = time.perf_counter() - began
        asked = {(g.code, g.about): g.n_rows for g in result.groups}
        print(
            f"look {turn + 1}: {took:.1f} s, {len(result.faults)} faults, {len(asked)} questions about"
            f" {sum(asked.values())} rows"
        )
        for (code, about), n_rows in asked.items():
            print(f"  {code} {about}: {n_rows} rows")
        if not asked:
            break
        for group in result.groups:
            choice, value = CHOSEN[group.code]
            idents = [row.ident for row in group.rows]
            spreads = group.code in LOADERS["history"].spreading or not any(idents)
            answers.add(group.code, group.about, choice, value, None if spreads else idents)
            n += 1
    began = time.perf_counter()
    result = import_file(data, "long.csv", holds="history", by=makers.somebody(), answers=answers)
    print(f"{n} answers; stored in {time.perf_counter() - began:.1f} s: {result.saying()}")


if __name__ == "__main__":
    main()
