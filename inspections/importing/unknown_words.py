"""Words nobody knows yet, and a column of dates that are hardly days: asked about once each."""

from collections import defaultdict
from collections.abc import Iterator, Sequence

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from inspections.importing import stored_facts
from inspections.importing.alike import ask_alike
from inspections.importing.lines import station_of

# From so many different first days of months on, a column of dates is asked about: by chance one in 30 to the
# sixth.
FIRST_DAYS = 6


def new_words(rows: Sequence[ParsedRow]) -> Iterator[Finding]:
    """Methods and stations met for the first time, each asked about once."""
    known = stored_facts.known_methods()
    methods: dict[str, list[ParsedRow]] = defaultdict(list)
    stations: dict[str, list[ParsedRow]] = defaultdict(list)
    for row in rows:
        if row.already:
            continue
        new = row.values.get("_new_method", ())
        method, station = row.get("method"), row.get("station")
        if method and method not in known and method not in new:
            methods[method].append(row)
        if station and station_of(station) is None:
            stations[station.strip().casefold()].append(row)
    words = ", ".join(sorted(word for word in known if word))
    for some in methods.values():
        yield from ask_alike(
            some,
            "method",
            f"a method known here ({words})",
            "write it as one of these, or say that it is new",
            "new_method",
            about=some[0].get("method"),
        )
    for some in stations.values():
        yield from ask_alike(
            some,
            "station",
            "a station as in-12, out-6, mid, 12 or nothing",
            "give the end (in: pump side, out, mid) and the clock position seen from the coupling",
            "new_station",
            about=some[0].get("station"),
        )


def first_days(rows: Sequence[ParsedRow]) -> Iterator[Finding]:
    """A whole column of first days of months probably stands for months."""
    dated = [row for row in rows if "date" in row.values and not row.already]
    days = {row.values["date"].first for row in dated if row.values["date"].precision == "day"}
    if len(days) < FIRST_DAYS or any(day.day != 1 for day in days):
        return
    whole = [row for row in dated if row.values["date"].precision == "day"]
    yield from ask_alike(
        whole,
        "date",
        "days, not the first of a month on every row",
        "if only the months are known, write them as 2014-03; if these are the days, set the rows aside or"
        " say so",
        "first_days",
    )
