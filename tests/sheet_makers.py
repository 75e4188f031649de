"""Sheets of any size for tests: a clean history with its register, and the same with faults planted in it.

Columns and words are those of the templates. Rows are numbered as a reader of the sheet sees them: the
heading is row 1, the first row below it row 2.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
from collections.abc import Callable, Iterable, Mapping, Sequence

import xlsxwriter

Row = dict[str, str]
Planted = tuple[int, str, str]  # the sheet's own row number, column, kind

ROWS_PER_BEARING = 10
N_PLANTED, N_DOUBLE_ROWS = 50, 5
SHARED_TAG = "Shared 1"
UM = {"mm": 1000.0, "um": 1.0, "mil": 25.4, "in": 25_400.0}
DIGITS = {"mm": 4, "um": 1, "mil": 3, "in": 6}

HISTORY_COLUMNS = (
    "site",
    "pump",
    "position",
    "date",
    "event",
    "stage",
    "quantity",
    "basis",
    "station",
    "method",
    "value",
    "unit",
    "run_hours",
    "starts",
    "shell",
    "outcome",
    "by",
    "job",
    "note",
    "entry_id",
)
REGISTER_COLUMNS = (
    "site",
    "pump",
    "description",
    "model",
    "service",
    "speed_rpm",
    "position",
    "journal_diameter",
    "new_clearance_min",
    "new_clearance_max",
    "in_service_max",
    "limit_basis",
    "scrapeable",
    "class",
    "basis",
    "unit",
)

# What is planted: kind -> (column the finding names, what is wrong). Faults first, then open questions.
FAULTS: dict[str, tuple[str, str]] = {
    "number_nan": ("value", "`nan`"),
    "number_inf": ("value", "`inf`"),
    "number_underscore": ("value", "`1_000`"),
    "number_exponent": ("value", "`1e308`"),
    "number_decimal_comma": ("value", "`0,15` where no decimal comma is declared"),
    "number_word": ("value", "a word"),
    "value_negative": ("value", "a clearance below 0"),
    "value_too_large": ("value", "a clearance above 10 000 um"),
    "value_empty": ("value", "a reading without its value"),
    "date_in_value": ("value", "a day where a length belongs (a date cell in a workbook)"),
    "unit_unknown": ("unit", "no unit of length"),
    "unit_empty": ("unit", "a reading without its unit"),
    "event_unknown": ("event", "no event of the template"),
    "event_missing": ("event", "an empty required cell"),
    "stage_unknown": ("stage", "neither as_found nor as_left"),
    "quantity_unknown": ("quantity", "no quantity of the record"),
    "basis_unknown": ("basis", "neither diametral nor radial"),
    "date_none": ("date", "30 February"),
    "date_format": ("date", "`09.03.2019` where no format is declared"),
    "date_future": ("date", "a day to come"),
    "date_missing": ("date", "an empty required cell"),
    "pump_missing": ("pump", "an empty required cell"),
    "position_unknown": ("position", "a position the pump has not"),
    "run_hours_negative": ("run_hours", "a meter below 0"),
    "run_hours_word": ("run_hours", "`12k`"),
    "run_hours_missing": ("run_hours", "an `hours` row without run hours"),
    "starts_word": ("starts", "a word"),
    "note_missing": ("note", "a `found` row without its note"),
}
QUESTIONS: dict[str, tuple[str, str]] = {
    "pump_unknown": ("pump", "a tag that is not in the register"),
    "tag_at_two_sites": ("site", "no site, and the tag stands at two"),
    "method_new": ("method", "a method the record does not know"),
    "station_new": ("station", "a station that is no end and clock"),
    "run_hours_fall": ("run_hours", "5000 h less than at the visit before, without a reset"),
    "clearance_high": ("value", "above 4 per mille of the journal, no factor of a slip"),
    "clearance_low": ("value", "below 0.5 per mille of the journal, first reading of a life"),
    "jump_2": ("value", "twice the reading before, still below 4 per mille"),
    "jump_10": ("value", "ten times the reading before, journal not on record"),
    "jump_25_4": ("value", "25.4 times the reading before, journal not on record"),
    "jump_39_37": ("value", "39.37 times the reading before, journal not on record"),
    "fall_without_event": ("value", "0.6 of the reading before, nothing done between"),
    "remark_names_work": ("note", "`scraped, ok` on a reading whose visit holds no work"),
}
KINDS = FAULTS | QUESTIONS
# Where another column can be named with as good a reason.
ALSO_NAMED = {"tag_at_two_sites": ("pump",)}
PAIRS = (
    ("number_nan", "run_hours_negative"),
    ("unit_unknown", "stage_unknown"),
    ("date_none", "basis_unknown"),
    ("position_unknown", "number_decimal_comma"),
    ("method_new", "run_hours_word"),
)


def sheet_row(index: int) -> int:
    """The sheet's own number of a row by its index in the list: the heading is row 1."""
    return index + 2


# A clean sheet


def _n_pumps(n_rows: int) -> int:
    return max(2, -(-n_rows // (2 * ROWS_PER_BEARING)))


def _place(number: int, n_pumps: int) -> tuple[str, str]:
    """Site and tag of a pump; the first pumps of the first two sites share a tag."""
    n_sites = max(2, n_pumps // 100)
    site = f"Test site {number % n_sites + 1:02d}"
    return site, SHARED_TAG if number < 2 else f"P-{number:05d}"


def _journal_mm(number: int) -> int:
    return 90 + number * 7 % 48


def _has_journal(number: int) -> bool:
    """Every fifth pump's register row gives no journal, which switches the per-mille question off."""
    return number % 5 != 4


def register_rows(n_rows: int) -> list[Row]:
    """The register that goes with `history_rows(n_rows, ...)`: two rows per pump."""
    n_pumps = _n_pumps(n_rows)
    rows = []
    for number in range(n_pumps):
        site, tag = _place(number, n_pumps)
        journal = _journal_mm(number)
        for position in ("DE", "NDE"):
            row = {"site": site, "pump": tag, "description": "lift pump", "model": f"M{number % 7}"}
            row |= {
                "service": "water",
                "speed_rpm": "1480",
                "position": position,
                "unit": "mm",
                "basis": "diametral",
            }
            row |= {"journal_diameter": str(journal) if _has_journal(number) else "", "limit_basis": "plant"}
            row |= {
                "new_clearance_min": f"{journal * 1.2e-3:.3f}",
                "new_clearance_max": f"{journal * 1.6e-3:.3f}",
            }
            row |= {
                "in_service_max": f"{journal * 2.8e-3:.3f}",
                "scrapeable": "yes",
                "class": f"class {number % 12}",
            }
            rows.append(row)
    return rows


def history_rows(n_rows: int, seed: int) -> list[Row]:
    """A clean history in order of date: ten rows a bearing, no fault and no open question in it."""
    rng = random.Random(seed)
    n_pumps = _n_pumps(n_rows)
    rows: list[Row] = []
    for number in range(n_pumps):
        rows += _pump_rows(number, n_pumps, rng)
    rows.sort(key=lambda row: row["date"])  # stable: the order inside a visit stays
    rows = rows[:n_rows]
    for index, row in enumerate(rows):
        row["entry_id"] = f"E{index + 1:07d}"
    return rows


def length(value_um: float, unit: str) -> str:
    """A length in um as typed in a unit."""
    return f"{value_um / UM[unit]:.{DIGITS[unit]}f}"


def _pump_rows(number: int, n_pumps: int, rng: random.Random) -> list[Row]:
    """Ten rows for each bearing: meter or finding, shell, as left, three openings, one scrape."""
    site, tag = _place(number, n_pumps)
    unit = ("mm", "um", "mil", "in")[rng.randrange(4)]
    method = ("bore_gauge", "plastic_strip", "micrometer", "lift_check")[rng.randrange(4)]
    first = dt.date(2008, 1, 1) + dt.timedelta(days=rng.randrange(20, 700))
    days = [first]
    for _ in range(3):
        days.append(days[-1] + dt.timedelta(days=rng.randrange(1300, 1900)))
    per_day = rng.uniform(9.0, 21.0)
    start = rng.randrange(500, 20_000)

    def meter(day: dt.date) -> str:
        return str(start + int((day - first).days * per_day))

    rows: list[Row] = []
    for position in ("DE", "NDE"):
        who = {
            "site": site,
            "pump": tag,
            "position": position,
            "by": ("AQ", "T. Oss", "NA")[rng.randrange(3)],
        }
        rows += _bearing_rows(
            number, who, {"method": method, "unit": unit, "event": "reading"}, days, meter, rng
        )
    return rows


def _bearing_rows(
    number: int,
    who: Row,
    gauge: Row,
    days: list[dt.date],
    meter: Callable[[dt.date], str],
    rng: random.Random,
) -> list[Row]:
    """One bearing's ten rows: its shell, as left, three openings, a contact check and a scrape."""
    new_um = _journal_mm(number) * rng.uniform(1.3, 1.42)
    worn = [new_um * (1.0 + 0.055 * i) + rng.uniform(-1.0, 1.0) for i in range(4)]
    drive_end = who["position"] == "DE"
    last = days[3] if drive_end else days[3] + dt.timedelta(days=20)
    fitted = days[0] + dt.timedelta(days=1)

    def done(event: str, day: dt.date, **more: str) -> Row:
        return {**who, "date": day.isoformat(), "event": event, **more}

    def read(um: float, day: dt.date, stage: str, **more: str) -> Row:
        return done(day=day, stage=stage, value=length(um, gauge["unit"]), **gauge, **more)

    meter_row = done("hours", days[0], position="", run_hours=meter(days[0]), starts=str(number % 400))
    found_row = done("found", days[1], note="lower half dull grey, even")
    return [
        meter_row if drive_end else found_row,
        done("shell_change", fitted, shell=f"{number:05d}{who['position']}"),
        read(new_um, fitted, "as_left"),
        read(worn[1], days[1], "as_found", run_hours=meter(days[1]), station="in-12"),
        done("contact_check", days[1], outcome="acceptable", value="80", unit="%"),
        read(worn[2] + 1.0, days[2], "as_found", station="in-12", run_hours=meter(days[2])),
        read(worn[2] - 1.0, days[2], "as_found", station="out-12", run_hours=meter(days[2])),
        done("scrape", days[2]),
        read(worn[2] + 12.0, days[2], "as_left", station="in-12"),
        read(worn[3] + 12.0, last, "as_found", station="in-12", run_hours=meter(last), job=f"00{number:04d}"),
    ]


# Faults planted

_TYPED = {
    "number_nan": "nan",
    "number_inf": "inf",
    "number_underscore": "1_000",
    "number_exponent": "1e308",
    "number_decimal_comma": "0,15",
    "number_word": "worn",
    "value_negative": "-0.02",
    "value_empty": "",
    "date_in_value": "2019-04-03",
    "unit_unknown": "furlong",
    "unit_empty": "",
    "event_unknown": "polish",
    "event_missing": "",
    "stage_unknown": "halfway",
    "quantity_unknown": "wobble",
    "basis_unknown": "square",
    "date_none": "2019-02-30",
    "date_format": "09.03.2019",
    "date_future": "2101-05-06",
    "date_missing": "",
    "pump_missing": "",
    "position_unknown": "MIDDLE",
    "run_hours_negative": "-5",
    "run_hours_word": "12k",
    "run_hours_missing": "",
    "starts_word": "many",
    "note_missing": "",
    "tag_at_two_sites": "",
    "method_new": "dial and mirror",
    "station_new": "left cheek",
    "remark_names_work": "scraped, ok",
}
_FACTOR = {
    "jump_2": 2.0,
    "jump_10": 10.0,
    "jump_25_4": 25.4,
    "jump_39_37": 39.37,
    "fall_without_event": 0.6,
    "clearance_high": 3.4,
}


class _Index:
    """Where in a history each kind can be planted without touching a neighbour."""

    def __init__(self, rows: Sequence[Row], rng: random.Random) -> None:
        self.rows = rows
        self.last: dict[tuple[str, str, str], int] = {}  # bearing -> its last reading
        self.before: dict[int, int] = {}  # last reading -> the reading before it
        first: dict[tuple[str, str, str], int] = {}
        for i, row in enumerate(rows):
            key = (row["site"], row["pump"], row["position"])
            if row["event"] == "reading":
                if key in self.last:
                    self.before[i] = self.last[key]
                self.last[key] = i
                first.setdefault(key, i)
        full = [i for i in self.last.values() if rows[i].get("run_hours") and i in self.before]
        plain = [i for i in full if rows[i]["pump"] != SHARED_TAG]
        self.pools = {
            "last": plain,
            "last_nde": [i for i in plain if rows[i]["position"] == "NDE"],
            "last_gauge": [
                i for i in plain if self._journal(i) and rows[i]["method"] in ("bore_gauge", "micrometer")
            ],
            "last_journal": [i for i in plain if self._journal(i)],
            "last_no_journal": [i for i in plain if not self._journal(i)],
            "first": [i for i in first.values() if rows[i]["pump"] != SHARED_TAG and self._journal(i)],
            "shared": [i for i in full if rows[i]["pump"] == SHARED_TAG],
            "hours": [
                i for i, row in enumerate(rows) if row["event"] == "hours" and row["pump"] != SHARED_TAG
            ],
            "found": [
                i for i, row in enumerate(rows) if row["event"] == "found" and row["pump"] != SHARED_TAG
            ],
        }
        for pool in self.pools.values():
            rng.shuffle(pool)
        self.used: set[tuple[str, str]] = set()

    def _journal(self, i: int) -> bool:
        tag = self.rows[i]["pump"]
        return tag != SHARED_TAG and _has_journal(int(tag.removeprefix("P-")))

    def take(self, pool: str) -> int | None:
        """A row of a pump that holds no planted row yet (a shared tag may hold one per site)."""
        for i in self.pools[pool]:
            place = (self.rows[i]["site"], self.rows[i]["pump"])
            if place not in self.used:
                self.used.add(place)
                return i
        return None


_POOL = {
    "run_hours_missing": "hours",
    "starts_word": "hours",
    "note_missing": "found",
    "tag_at_two_sites": "shared",
    "run_hours_fall": "last_nde",
    "clearance_high": "last_journal",
    "clearance_low": "first",
    "jump_2": "last_journal",
    "jump_10": "last_no_journal",
    "jump_25_4": "last_no_journal",
    "jump_39_37": "last_no_journal",
    "fall_without_event": "last_gauge",
}


def _plant(row: Row, before: Row | None, kind: str) -> None:
    """Change one cell of a row so that it shows a kind."""
    column, unit = KINDS[kind][0], row.get("unit", "")
    if kind in _TYPED:
        row[column] = _TYPED[kind]
    elif kind == "value_too_large":
        row["value"] = length(12_000.0, unit)
    elif kind == "clearance_low":
        row["value"] = length(float(row["value"]) * UM[unit] / 3.4, unit)
    elif kind == "pump_unknown":
        row["pump"] += "X"
    elif kind == "run_hours_fall":
        row["run_hours"] = str(int(row["run_hours"]) - 5000)
    else:
        assert before is not None
        row["value"] = length(float(before["value"]) * UM[before["unit"]] * _FACTOR[kind], unit)


def plant_faults(rows: Sequence[Row], seed: int, n: int = N_PLANTED) -> tuple[list[Row], list[Planted]]:
    """A copy of a clean history with `n` faults and questions of all kinds; five rows hold two of them.

    Every planted row is of another pump, so that each is asked about once and for its own sake. Needs a
    history of some 2000 rows to find room. Returns the rows and (sheet row, column, kind) in order of the
    sheet.
    """
    rng = random.Random(seed)
    out = [dict(row) for row in rows]
    index = _Index(rows, rng)
    planted: list[Planted] = []

    def put(kinds: Iterable[str], pool: str) -> bool:
        i = index.take(pool)
        if i is None:
            return False
        before = rows[index.before[i]] if i in index.before else None
        for kind in kinds:
            _plant(out[i], before, kind)
            planted.append((sheet_row(i), KINDS[kind][0], kind))
        return True

    for pair in PAIRS[:N_DOUBLE_ROWS]:
        if not put(pair, "last"):
            raise ValueError("the history is too short to plant two faults in a row")
    # Scarce places first, then the rest in turn until there are enough.
    order = sorted(KINDS, key=lambda kind: kind not in _POOL)
    paired = {kind for pair in PAIRS for kind in pair}
    turn = [kind for kind in order if kind not in paired] + order * n
    for kind in turn:
        if len(planted) >= n:
            break
        put((kind,), _POOL.get(kind, "last"))
    if len(planted) < n:
        raise ValueError(f"the history is too short: {len(planted)} of {n} faults found a place")
    return out, sorted(planted)


# Files


def csv_bytes(
    rows: Sequence[Mapping[str, str]], columns: Sequence[str] = HISTORY_COLUMNS, separator: str = ","
) -> bytes:
    """The rows as a CSV in UTF-8 with a heading row."""
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([row.get(name, "") for name in columns] for row in rows)
    return out.getvalue().encode()


def xlsx_bytes(rows: Sequence[Mapping[str, str]], columns: Sequence[str] = HISTORY_COLUMNS) -> bytes:
    """The rows as a workbook: numbers as numbers, whole days as date cells, everything else as text."""
    out = io.BytesIO()
    options = {
        "in_memory": True,
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
    }
    book = xlsxwriter.Workbook(out, options)
    sheet = book.add_worksheet("history")
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    sheet.write_row(0, 0, columns)
    numbers = {"value", "run_hours", "starts", "journal_diameter", "in_service_max", "speed_rpm"}
    for i, row in enumerate(rows, start=1):
        for j, name in enumerate(columns):
            text = row.get(name, "")
            if name in numbers and _plain_number(text):
                sheet.write_number(i, j, float(text))
            elif name in ("date", "value") and _whole_day(text):
                sheet.write_datetime(i, j, dt.datetime.fromisoformat(text), day)
            elif text:
                sheet.write_string(i, j, text)
    book.close()
    return out.getvalue()


def _plain_number(text: str) -> bool:
    return text.lstrip("-").replace(".", "", 1).isdigit()


def _whole_day(text: str) -> bool:
    try:
        return len(text) == 10 and dt.date.fromisoformat(text) is not None
    except ValueError:
        return False


def each_kind(rows: Sequence[Row], seed: int, use: Callable[[str, list[Row], Planted], None]) -> None:
    """Call `use` once for every kind with a sheet in which only that kind is planted."""
    for kind in KINDS:
        out = [dict(row) for row in rows]
        index = _Index(rows, random.Random(seed))
        i = index.take(_POOL.get(kind, "last"))
        if i is None:
            raise ValueError(f"the history is too short to plant {kind}")
        _plant(out[i], rows[index.before[i]] if i in index.before else None, kind)
        use(kind, out, (sheet_row(i), KINDS[kind][0], kind))
