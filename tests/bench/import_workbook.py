"""A workbook of 40 tabs and 5 MB: seconds from its bytes to the guessed plan and its preview, alone and
through the pages.

python -m tests.bench.import_workbook
"""

import datetime as dt
import io
import os
import random
import tempfile
import time
from dataclasses import replace

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ.setdefault("PLAIN_HTTP", "yes")
_FOLDER = tempfile.TemporaryDirectory()
os.environ.setdefault("DATABASE_URL", f"sqlite:///{_FOLDER.name}/workbook.sqlite3")
import django

django.setup()

import xlsxwriter
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.test import Client

from fleet import bulk
from fleet.importing.reading_plans import plan_form
from fleet.importing.reading_plans.cell_fates import apply
from fleet.importing.reading_plans.guesses import guess
from fleet.sheets.files import read_sheet
from tests import makers

TABS, ROWS = 40, 900
HEAD = [
    "Date",
    "Run hours",
    "DE found mm",
    "NDE found mm",
    "DE left mm",
    "NDE left mm",
    "By",
    "Job no",
    "Remarks",
]


def workbook(tabs: int = TABS, rows: int = ROWS) -> bytes:
    """One tab per pump, newest first, with words nobody needs until it weighs 5 MB."""
    rng = random.Random(3)
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    for n in range(tabs):
        tab = book.add_worksheet(f"Pump {n + 1}")
        tab.write_row(0, 0, [f"History of Pump {n + 1}"])
        tab.write_row(1, 0, HEAD)
        for i in range(rows):
            on = dt.datetime(2025, 1, 1) - dt.timedelta(days=7 * i)
            tab.write_datetime(i + 2, 0, on, day)
            words = "".join(rng.choice("abcdefghij klmnop") for _ in range(152))
            values = [
                90_000 - 40 * i,
                *(round(rng.uniform(0.14, 0.2), 3) for _ in range(4)),
                "A. Quill",
                f"00{i}",
                words,
            ]
            tab.write_row(i + 2, 1, values)
    book.close()
    return out.getvalue()


@bulk.without_collecting()
def main() -> None:
    data = workbook()
    before = sum(os.times()[:4])
    began = time.perf_counter()
    tabs = read_sheet(data, "x.xlsx").tabs
    read = time.perf_counter()
    plan = replace(guess(tabs, lambda name: name.startswith("Pump ")), basis="diametral")
    guessed = time.perf_counter()
    applied = apply(plan, tabs)
    plan_form.preview(applied), plan_form.odd_words(plan, applied)
    done = time.perf_counter()
    print(f"{len(data) / 1e6:.1f} MB, {len(tabs)} tabs, {applied.n_rows} rows -> {len(applied.made)} made")
    print(
        f"read {read - began:.2f} s, guessed {guessed - read:.2f} s, previewed {done - guessed:.2f} s; in all"
        f" {done - began:.2f} s, {sum(os.times()[:4]) - before:.2f} s of a processor"
    )
    through_pages(data)


def through_pages(data: bytes) -> None:
    """The same as an engineer has it: uploaded, then the page with the guess and the preview."""
    call_command("migrate", verbosity=0)
    client = Client(HTTP_HOST="127.0.0.1")
    client.force_login(makers.an_account())
    began = time.perf_counter()
    said = {"kind": "history", "file": SimpleUploadedFile("history.xlsx", data), "decimal": "point"}
    answer = client.post("/import/", said)
    there = time.perf_counter()
    assert client.get(answer.headers["Location"]).status_code == 200
    done = time.perf_counter()
    print(
        f"through the pages: uploaded {there - began:.2f} s, plan and preview shown {done - there:.2f} s; in"
        f" all {done - began:.2f} s"
    )


if __name__ == "__main__":
    main()
