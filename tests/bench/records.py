"""Records that hold up, at size: verifying, a bearing's bundle and its check, its history page, a gauge's
recall.

python -m tests.bench.records [--rows 100000]      prints a table; in a scratch SQLite file of its own
python -m tests.bench.records --recall 100000      so many readings, all with one gauge, which is found wrong

Beside seconds by the clock stand those of this process's own processor time, for other work may run beside
it. BENCH_URL names another database, an empty one: .ci/with_postgres sh -c 'BENCH_URL=$DATABASE_URL python
-m tests.bench.records'.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from uuid import UUID

folder = tempfile.TemporaryDirectory()
os.environ["DATABASE_URL"] = (
    os.environ.get("BENCH_URL") or f"sqlite:///{Path(folder.name) / 'record.sqlite3'}"
)
os.environ["PLAIN_HTTP"] = "yes"
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
import django

django.setup()

import datetime as dt

from django.core.management import call_command
from django.test import Client

from fleet.ledger.verify import verify
from fleet.models import Bearing, Entry, Instrument, Site
from fleet.plant import calibration
from inspections.bundle.archive import make
from inspections.forecasts.gauge_recall import recalls
from inspections.forecasts.refit import refit
from inspections.models import Reading
from tests import makers, sheet_makers


def timed(what: str, do: Callable[[], object], said: Callable[[object], str] = lambda _: "") -> object:
    """Print a row of the table: the best of three, by the clock and of the processor."""
    best, own, came = float("inf"), float("inf"), None
    for _ in range(3):
        began, own_began = time.perf_counter(), time.process_time()
        came = do()
        best, own = min(best, time.perf_counter() - began), min(own, time.process_time() - own_began)
    print(f"| {what} | {best:.2f} | {own:.2f} | {said(came)} |", flush=True)
    return came


def table(what: str) -> None:
    """Print the head of a table."""
    print(f"\n| {what} | seconds | processor | |\n| --- | --- | --- | --- |")


def filled(rows: int, *, only_readings: bool = False) -> None:
    """A record of so many history rows, a fifth of the readings taken with one gauge; or of as many readings,
    all of them taken with it.
    """
    call_command("migrate", verbosity=0)
    history = sheet_makers.history_rows(rows, 7)
    register = sheet_makers.register_rows(rows)
    if only_readings:
        history = sheet_makers.history_rows(2 * rows, 7)
        history = [row for row in history if row["event"] == "reading"][:rows]
        register = sheet_makers.register_rows(2 * rows)
    sheet = sheet_makers.csv_bytes(register, sheet_makers.REGISTER_COLUMNS)
    assert makers.a_sheet(sheet.decode(), holds="register").ok
    for number, row in enumerate(history):
        if row["event"] == "reading":
            is_it = only_readings or number % 5 == 0
            row["instrument"] = "G-7" if is_it else f"G-{100 + number % 40}"
    columns = [*sheet_makers.HISTORY_COLUMNS]
    columns += [] if "instrument" in columns else ["instrument"]
    assert makers.a_sheet(sheet_makers.csv_bytes(history, columns).decode()).ok


def recalled(by: UUID) -> Instrument:
    """The gauge found wrong, and how long it takes to find all that was measured with it."""
    gauge = Instrument.objects.get(folded="g-7")
    calibration.calibrate(instrument=gauge, on=dt.date(2026, 1, 1), found_fit=False, note="bent", by=by)
    (recall,) = timed(
        "a gauge found wrong: all its readings",
        lambda: recalls(gauge, Site.objects.all()),
        lambda r: f"{len(r[0].affected)} readings of {r[0].n_bearings} bearings",
    )
    expected = Reading.objects.standing().filter(instrument=gauge, on__lte=dt.date(2026, 1, 1)).count()
    print(f"\nof {expected} readings with that gauge, {len(recall.affected)} are listed")
    return gauge


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rows", type=int, default=100_000)
    options.add_argument("--recall", type=int, default=0)
    given = options.parse_args()
    filled(given.recall or given.rows, only_readings=bool(given.recall))
    by = makers.somebody()
    refit(by=by)
    n = Entry.objects.count()
    print(f"{n} entries, {Reading.objects.count()} readings, {Bearing.objects.count()} bearings")
    table("what")
    if given.recall:
        page_of(recalled(by))
        return
    timed(
        "verify, the ledger alone",
        lambda: verify(rows=False),
        lambda f: f"{f.n_entries} entries, {len(f.faults)} faults",
    )
    timed("verify with all typed rows", verify, lambda f: f"{f.n_rows} rows, {len(f.faults)} faults")
    bearing = Bearing.objects.standing().in_order()[3]
    files = timed(
        "one bearing's bundle", lambda: make(bearing, by=by), lambda f: f"{sum(map(len, f.values()))} bytes"
    )
    out = Path(folder.name) / "bundle"
    for name, data in files.items():
        (out / name).parent.mkdir(parents=True, exist_ok=True)
        (out / name).write_bytes(data)
    timed(
        "its check, a process of its own",
        lambda: subprocess.run([sys.executable, "-I", out / "verify.py"], check=True, capture_output=True),
    )
    gauge = recalled(by)
    client = signed_in()
    address = f"/bearings/{bearing.place.tag}/{bearing.name}/history/?site={bearing.place.site.name}"
    table("page")
    timed("history of one bearing", lambda: client.get(address), lambda a: f"{a.status_code}")
    page_of(gauge)


def signed_in() -> Client:
    client = Client(SERVER_NAME="localhost")
    client.force_login(makers.an_account())
    return client


def page_of(gauge: Instrument) -> None:
    """How long the page of a gauge takes."""
    client = signed_in()
    timed("the gauge's page", lambda: client.get(f"/gauges/{gauge.pk}/"), lambda a: f"{a.status_code}")


if __name__ == "__main__":
    main()
