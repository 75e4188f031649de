"""A newcomer with one history workbook and no register, from the first sign-in to the first dates: clicks and
fields counted, in forms as they stand on the pages.

A list to choose from costs two clicks, a file two (the dialog and the file).
"""

import datetime as dt
import io
import random
import re
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import xlsxwriter
from webtest import TestApp

from fleet.importing.questions import TOGETHER
from tests.imports.hands import FormHand

SECONDS_A_CLICK, SECONDS_A_FIELD = 3.0, 2.0
MOST_CLICKS, MOST_MINUTES = 30, 12.0
HEADING = ["Pump", "Date", "Hrs run", "DE as found", "NDE as found", "Remarks"]
LIMIT = "max 0.30 mm all pumps"
SITE = "Marl works"
PASSWORD = "lantern-quarry-9-oats"
ANSWERS = {"new_pump": "create", "stage_unclear": "as_found"}


@dataclass(frozen=True)
class Step:
    """What one step cost: clicks, fields, and the seconds the server took."""

    name: str
    clicks: int
    fields: int
    server_s: float

    @property
    def seconds(self) -> float:
        """By script of human pace, the server's time among it."""
        return self.clicks * SECONDS_A_CLICK + self.fields * SECONDS_A_FIELD + self.server_s


def workbook(n_pumps: int, worst: int) -> bytes:
    """A plant's history: unit and basis in the title, works in remarks, a limit at the foot.

    The NDE of the pump numbered `worst` wears far beyond it.
    """
    rng, out = random.Random(5), io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    tab, day = book.add_worksheet("bearings"), book.add_format({"num_format": "dd/mm/yyyy"})
    tab.write(0, 0, "Bearing history, clearances in mm, diametral, feeler")
    tab.write_row(2, 0, HEADING)
    row = 3
    for n in range(1, n_pumps + 1):
        clearance = [0.150 + 0.01 * rng.random() for _ in range(2)]
        hours, year, wear = rng.randint(2_000, 9_000), 1999, 0.003 + 0.002 * rng.random()
        while year < 2026:
            tab.write(row, 0, f"Marl {n}")
            tab.write_datetime(row, 1, dt.datetime(year, rng.randint(1, 12), rng.randint(1, 28)), day)
            renewed = clearance[0] > 0.21
            typed = [round(one, 3) for one in clearance]
            tab.write_row(row, 2, [hours, *typed, "DE new shells fitted" if renewed else ""])
            clearance[0] = 0.155 if renewed else clearance[0]
            gap = rng.randint(4, 6)
            row, year, hours = row + 1, year + gap, hours + gap * rng.randint(5_000, 6_500)
            clearance[0] += gap * 1.5 * wear
            clearance[1] += gap * (0.011 if n == worst else wear)
    tab.write(row + 1, 0, LIMIT)
    book.close()
    return out.getvalue()


class Newcomer:
    """The walk; `steps` is what it cost, `page` the one it ended on."""

    def __init__(self, app: TestApp) -> None:
        self.hand = FormHand("first afternoon", app)
        self.steps: list[Step] = []
        self.clicks = self.fields = 0

    @property
    def page(self):
        return self.hand.page

    def walk(self, data: bytes, name: str, password: str) -> None:
        """From the address typed to the page that says what the first dates say."""
        with self._step("sign in with the one-time password"):
            self._sign_in(name, password)
        with self._step("bring the workbook"):
            self._bring(data)
        with self._step("look at what its columns hold"):
            self._columns()
        with self._step("answer what is asked"):
            self._answer()
        with self._step("look at the drawings, store"):
            self._store()
        with self._step("set the limit the sheet names"):
            self._limit()

    @contextmanager
    def _step(self, name: str) -> Iterator[None]:
        before, began = (self.clicks, self.fields), time.perf_counter()
        yield
        took = time.perf_counter() - began
        self.steps.append(Step(name, self.clicks - before[0], self.fields - before[1], took))

    def _fill(self, form, **values: str) -> None:
        for field, value in values.items():
            form[field] = value
            self.fields += 1

    def _pick(self, form, field: str, value: str) -> None:
        form[field] = value
        self.clicks += 2

    def _submit(self, form, button: str | None = None, value: str | None = None) -> None:
        self.clicks += 1
        self.hand.page = form.submit(button, value=value).maybe_follow()

    def _follow(self, words: str) -> None:
        self.clicks += 1
        self.hand.page = self.page.click(words).maybe_follow()

    def _form(self, field: str):
        return next(form for form in self.page.forms.values() if field in form.fields)

    def _sign_in(self, name: str, password: str) -> None:
        self.fields += 1  # the address
        self.hand.page = self.hand.app.get("/").maybe_follow()
        form = self._form("username")
        self._fill(form, username=name, password=password)
        self._submit(form)
        form = self._form("new_password1")
        self._fill(form, old_password=password, new_password1=PASSWORD, new_password2=PASSWORD)
        self._submit(form)

    def _bring(self, data: bytes) -> None:
        self._follow("Bring a sheet")
        form = self._form("file")
        self._pick(form, "kind", "history")
        form["file"] = ("history.xlsx", data, "application/octet-stream")
        self.clicks += 2
        self._submit(form)

    def _columns(self) -> None:
        offer = self.page.html.find("button", string=re.compile(r"^\s*Take mm, diametral\s*$"))
        self._submit(self._form("basis"), offer["name"], offer["value"])
        self._submit(self._form("basis"), "then", "go")

    def _answer(self) -> None:
        for _ in range(3):
            sections = self.hand.sections()
            if not sections:
                return
            for section in sections:
                assert section.code in TOGETHER or section.code in ANSWERS, section.code
                choice = ANSWERS.get(section.code, "yes")
                section.choose(choice)
                self.clicks += 1
                if choice == "create":
                    self.fields += section.say(choice, SITE)
            self._submit(self.hand.form, "then", "answer")

    def _store(self) -> None:
        for button in ("look", "store"):
            self._submit(self.hand._form(button), "then", button)

    def _limit(self) -> None:
        self._follow("^Set limits for")
        self._follow("^Fill in the form")
        form = self._form("authority")
        self._pick(form, "basis", "diametral")
        self._submit(form)
        if "Is this limit meant?" in self.page.text:
            self._submit(self._form("authority"))
