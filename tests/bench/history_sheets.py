"""How long a history of 20 000 rows takes, refused with 50 planted faults and loaded clean, as whole
commands.

python -m tests.bench.history_sheets        prints a table; DATABASE_URL may name another scratch database.
"""

import os
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests import sheet_makers as sheets

ROWS = 20_000


def run(*arguments: str, env: dict[str, str]) -> tuple[float, str]:
    """Seconds a command took from its start to its end, and what it printed."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "manage.py", *arguments], env=env, capture_output=True, text=True)
    return time.perf_counter() - began, done.stdout + done.stderr


def main() -> None:
    """Make the sheets in a scratch folder, bring them, print the table."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        env = os.environ | {"PLAIN_HTTP": "yes"}
        env.setdefault("DATABASE_URL", f"sqlite:///{folder / 'record.sqlite3'}")
        rows = sheets.history_rows(ROWS, 3)
        faulty, planted = sheets.plant_faults(rows, 5)
        (folder / "register.csv").write_bytes(
            sheets.csv_bytes(sheets.register_rows(ROWS), sheets.REGISTER_COLUMNS)
        )
        (folder / "clean.csv").write_bytes(sheets.csv_bytes(rows))
        (folder / "clean.xlsx").write_bytes(sheets.xlsx_bytes(rows))
        (folder / "faulty.csv").write_bytes(sheets.csv_bytes(faulty))
        run("migrate", "-v0", env=env)
        table = [("register, 2 000 bearings", *run("import_register", str(folder / "register.csv"), env=env))]
        table.append(("50 planted faults", *run("import_history", str(folder / "faulty.csv"), env=env)))
        named = {
            (int(n), column) for n, column in re.findall(r"^row (\d+), column (\w+):", table[-1][2], re.M)
        }
        exactly = named == {(row, column) for row, column, _ in planted}
        table.append(("clean, CSV", *run("import_history", str(folder / "clean.csv"), env=env)))
        table.append(("the same again as XLSX", *run("import_history", str(folder / "clean.xlsx"), env=env)))
        print(f"| {ROWS} rows | seconds | said |\n| --- | --- | --- |")
        for what, seconds, said in table:
            print(f"| {what} | {seconds:.1f} | {said.strip().splitlines()[-1]} |")
        print(
            f"\nnamed exactly what was planted ({len(planted)} of {len({kind for *_, kind in planted})}"
            f" kinds): {exactly}"
        )


if __name__ == "__main__":
    main()
