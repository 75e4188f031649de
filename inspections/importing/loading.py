"""The history sheet: its rows found a bearing, checked against each other and the record, and stored as one
act.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from uuid import UUID

from fleet.importing.answers import Choice, ChosenAnswer
from fleet.importing.directory import in_words, letters_and_digits
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context, Loader
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.ledger.writing import write
from fleet.models import Place, Sheet, Site
from inspections.importing import answers, learnt_spellings, new_pumps, stored_facts
from inspections.importing.alike import ask_alike
from inspections.importing.clearances import check_values
from inspections.importing.dissolved_questions import asked_in_any_case, works_asked_about
from inspections.importing.drawn_meters import METER
from inspections.importing.end_names import EndNames, end_facts, end_word
from inspections.importing.first_readings import first_near_new
from inspections.importing.lines import (
    Line,
    given_order,
    line_of,
    settle_phases,
    visit_key,
)
from inspections.importing.meter_grouping_marks import unclear_marks
from inspections.importing.meters import Hours, check_meters, hours_in
from inspections.importing.position_names import bearings_by_name, names_by_place
from inspections.importing.remark_values import remarks_that_name_values
from inspections.importing.remarks import NAMES_WORK, Surroundings, remarks_that_name_work, words_of_plant
from inspections.importing.required_cells import needs
from inspections.importing.row_facts import RowFacts
from inspections.importing.template import COLUMNS, HOURS, METER_RESET, READING
from inspections.importing.unknown_words import first_days, new_words
from inspections.importing.work_levels import works_against_levels
from inspections.models import WORK, EventKind
from inspections.records.recording import record_history
from inspections.story.uncertainty import spreads

TAKEN_OUT = "taken_out"  # a bearing that somebody took out on the last page before storing


class HistoryLoader(Loader):
    """Readings, events and run hours."""

    holds = str(Sheet.Holds.HISTORY)
    columns = COLUMNS
    known_by_rows = True
    takes_plans = True
    spreading = frozenset({"run_hours_fall", "run_hours_rise"})
    for_further = answers.VALUE_CELLS
    names_asked = answers.OF_NAMES

    def resolve(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        """Site, pump and position of each row; each unknown name is asked about once."""
        return list(_Resolver(context).run(parsed.rows))

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        """Faults within rows, then questions between rows and to the record."""
        _take_out(parsed.rows, context)
        findings = [one for row in parsed.rows for one in needs(row)]
        findings += new_words(parsed.rows)
        findings += [*first_days(parsed.rows), *unclear_marks(parsed.rows)]
        return findings + list(_Comparison(parsed.rows, context).run())

    def ident(self, code: str, row: ParsedRow) -> str:
        return answers.ident(code, row)

    def wide_ident(self, code: str, row: ParsedRow) -> str:
        return answers.wide_ident(code, row)

    def choices(self, code: str, about: str, rows: Sequence[ParsedRow], context: Context) -> Sequence[Choice]:
        return answers.choices(code, about, rows, context)

    def answer(
        self, given: ChosenAnswer, rows: Sequence[ParsedRow], parsed: Parsed, context: Context
    ) -> bool:
        return answers.answer(given, rows, parsed, context)

    def prepare(self, rows: Sequence[ParsedRow], context: Context) -> None:
        """Rows as facts."""
        maker = RowFacts(context.options.decimal_comma, given_order(rows))
        context.memory["facts"] = maker.run(rows, context.memory["places"])

    def store(self, rows: Sequence[ParsedRow], context: Context, act: uuid.UUID) -> tuple[int, int]:
        """One act for all rows, the spellings learnt and the readings corrected with them."""
        facts = [*new_pumps.facts(context), *learnt_spellings.facts(rows, context), *end_facts(context)]
        if facts:
            write(facts, by=context.by, act=act)
        done = record_history(context.memory["facts"], by=context.by, sheet=context.sheet, act=act)
        context.memory["stored"] = done
        return len(rows), 0


def _take_out(rows: Sequence[ParsedRow], context: Context) -> None:
    """Rows of bearings and meters that were taken out are set aside with the reason given; hours beside a
    reading are left out.
    """
    dropped = context.memory.setdefault("dropped", {})
    for row in rows:
        if row.number not in context.memory["places"]:
            continue
        place = context.directory.place(context.memory["places"][row.number])
        tag = place.tag if place else ""
        if "run_hours" in row.values and (
            answer := context.answers.of(TAKEN_OUT, new_pumps.subject(tag, METER))
        ):
            if row.get("event") in (HOURS, METER_RESET):
                dropped[row.number] = answer[1]
            else:
                row.values.pop("run_hours")
        if row.bearing is not None:
            named = new_pumps.subject(tag, context.directory.name_of(row.bearing))
            if answer := context.answers.of(TAKEN_OUT, named):
                dropped[row.number] = answer[1]


# which bearing ---------------------------------------------------------------------------------------------


class _Resolver:
    """Names to sites, pumps and positions, each distinct name looked up once."""

    def __init__(self, context: Context) -> None:
        self.context, self.directory = context, context.directory
        self.ends = EndNames(context)
        self.places: dict[int, Place] = {}
        self._known: dict[tuple[str | None, str], Place | tuple[str, str, str, str]] = {}
        self._asked: dict[tuple[str, str, str], list[ParsedRow]] = defaultdict(list)
        self._why: dict[tuple[str, str, str], tuple[str, str]] = {}
        self._first_spelt: dict[tuple[str, str], str] = {}

    def run(self, rows: Sequence[ParsedRow]) -> Iterator[Finding]:
        """Questions about unknown names; faults of unknown positions."""
        for row in rows:
            if "pump" not in row.values or "site" in row.faulty:
                continue
            place = self._place(row)
            if place is None:
                yield from self._position_as_meant(row)
                continue
            self.places[row.number] = place
            row.site = place.site_id
            row.content["pump"] = str(place.pk)
            row.content.pop("site", None)
            row.bearing = None
            if position := row.get("position"):
                bearing = self.directory.bearing(place, position) or self.ends.bearing(place, position)
                if bearing is None:
                    yield self._no_position(row, place)
                else:
                    row.bearing, row.content["position"] = bearing.pk, str(bearing.pk)
        self.context.memory["places"] = {number: place.pk for number, place in self.places.items()}
        yield from self._questions()

    def _place(self, row: ParsedRow) -> Place | None:
        site, tag = row.get("site"), row.values["pump"]
        found = self._known.get((site, tag))
        if found is None:
            found = self._known[site, tag] = self._look_up(site, tag)
        if isinstance(found, Place):
            return found
        code, column, expected, remedy = found
        key = (code, column, f"{site}/{tag}" if column == "pump" else str(site or tag))
        self._asked[key].append(row)
        self._why[key] = (expected, remedy)
        return None

    def _look_up(self, name: str | None, tag: str) -> Place | tuple[str, str, str, str]:
        site: Site | None = self.directory.site(name) if name else self.context.site
        if name and site is None:
            near = in_words(self.directory.nearest_sites(name))
            if not near and self.context.sites is None:
                return self._new(name, tag)
            remedy = f"perhaps {near}; or register it first" if near else "register it first"
            return "unknown_site", "site", "a site of the register", remedy
        places = self.directory.places_of(tag, site)
        if len(places) == 1:
            return places[0]
        if places:
            sites = in_words(sorted(place.site.name for place in places))
            return (
                "tag_at_two_sites",
                "site",
                f"the site of '{tag}', which stands at {sites}",
                "fill in the site",
            )
        if (meant := self.directory.spelt(tag, site)) is not None:
            return (
                "spelt_otherwise",
                "pump",
                f"'{meant.tag}'",
                "say whether each means the pump offered beside it",
            )
        near = in_words(self.directory.nearest_tags(tag, site))
        if not near:
            return self._new(name, tag)
        return "unknown_pump", "pump", "a pump of the register", f"perhaps {near}; or register it first"

    def _new(self, site: str | None, tag: str) -> tuple[str, str, str, str]:
        """A pump like none of the register; one that another tag of the sheet spells otherwise is named with
        it.
        """
        key = (self.directory.fold(site or ""), letters_and_digits(tag))
        first = self._first_spelt.setdefault(key, tag)
        same = "" if first == tag else f"the same letters and digits as '{first}': one pump with it"
        return (
            new_pumps.NEW_PUMP,
            "pump",
            "a pump of the register",
            same or "create it with the import, or register it first",
        )

    def _no_position(self, row: ParsedRow, place: Place) -> Finding:
        names = in_words([bearing.name for bearing in self.directory.positions.get(place.pk, [])])
        expected = f"a position of {place.tag} ({names})" if names else f"a position of {place.tag}"
        if row.source or new_pumps.is_made(
            place, self.context
        ):  # a sheet of the plant's own: nobody can mend it, but the spelling can be learnt
            meant = self.directory.spelt_position(row.values["position"], place)
            if meant is not None and not end_word(row.values["position"]):
                remedy = "say whether each means the position offered beside it"
                return row.question("position", f"'{meant.name}'", remedy, "position_spelt")
            remedy = "say which position is meant"
            asked = row.question("position", expected, remedy, "unknown_position")
            return replace(asked, about=row.values["position"])
        return row.fault("position", expected, "write it as the register has it", "unknown_position")

    def _position_as_meant(self, row: ParsedRow) -> Iterator[Finding]:
        """The spelling of a position at the pump that is probably meant, asked about
        beside that pump's own.
        """
        site = self.directory.site(row.get("site")) if row.get("site") else self.context.site
        meant = self.directory.spelt(row.values["pump"], site)
        position = row.get("position")
        if meant is None or not position or self.directory.bearing(meant, position) is not None:
            return
        if (asked := self._no_position(row, meant)).code == "position_spelt":
            yield asked

    def _questions(self) -> Iterator[Finding]:
        for key, some in self._asked.items():
            expected, remedy = self._why[key]
            about = some[0].get("site" if key[0] == "unknown_site" else "pump", "")
            if key[0] == "spelt_otherwise":
                about = ""
            elif key[0] == new_pumps.NEW_PUMP:
                about = new_pumps.subject(some[0].get("site"), about)
            yield from ask_alike(some, key[1], expected, remedy, key[0], about=about)


# rows against each other and the record --------------------------------------------------------------------


class _Comparison:
    """The checks that need the neighbours of a row."""

    def __init__(self, rows: Sequence[ParsedRow], context: Context) -> None:
        placed: dict[int, UUID] = context.memory["places"]
        self.rows = [row for row in rows if row.number in placed and {"date", "event"} <= row.values.keys()]
        self.placed, self.comma, self.today = placed, context.options.decimal_comma, context.today
        # Rows that are there already have their like in the record: they are not compared twice.
        self.new = [row for row in self.rows if not row.already]
        self.places = {placed[row.number] for row in self.new}
        self.bearings = {row.bearing for row in self.new if row.bearing}
        self.sets_aside = bool(context.options.set_aside)
        self.facts, self.answers = stored_facts.facts_of(self.bearings), context.answers
        self.directory, self.spreads = context.directory, spreads(context.today)
        # Works of the record in the sheet's visits: kind and bearing, None for the whole pump.
        self.done_before: dict[object, set[tuple[str, UUID | None]]] = defaultdict(set)

    def run(self) -> Iterator[Finding]:
        """All questions between rows."""
        if not self.new:
            return
        lines, known = self._lines()
        around = self._around()
        told = list(remarks_that_name_work(self.new, around, words_of_plant(self.today)))
        works = []
        if not self.sets_aside:  # else what is not asked would be stored unasked
            rows = {row.number: row for row in self.new}
            works = works_asked_about(told, rows, self.placed, around, self.answers)
        yield from asked_in_any_case(list(check_values(lines, self.facts)), works, lines, self.facts)
        yield from works_against_levels(lines, self.facts)
        yield from first_near_new(lines, self.facts, works)
        yield from _stored_otherwise(lines, known)
        yield from check_meters(self._hours(), self._changed(), stored_facts.standing_by(self.places))
        yield from self._stages(works)
        yield from told
        yield from remarks_that_name_values(self.new, around, self.answers, answers.ident)

    def _lines(self) -> tuple[dict[UUID, list[Line]], list[Line]]:
        """By bearing: the sheet's new lines and the record's, works of the whole pump in each of its
        bearings'.
        """
        order = given_order(self.rows)
        lines: dict[UUID, list[Line]] = defaultdict(list)
        whole: dict[UUID, list[Line]] = defaultdict(list)  # place -> works of the whole pump
        place_of: dict[UUID, UUID] = {}
        for row in self.new:
            place, bearing = self.placed[row.number], row.bearing
            if bearing:
                place_of[bearing] = place
            side = self.facts[bearing].load_side if bearing else "bottom"
            made = line_of(
                row,
                bearing=bearing or place,
                place=place,
                order=order[row.number],
                load_side=side,
                decimal_comma=self.comma,
                spreads=self.spreads,
            )
            if made is not None:
                (lines[bearing] if bearing else whole[place]).append(made)
        known = []
        joins = self._joins()
        for line in stored_facts.lines_of(self.bearings, self.places, self.facts, self.spreads):
            if visit := joins.get((place_of.get(line.bearing, line.bearing), line.day)):
                line.visit = visit
                if line.kind in WORK:
                    of = line.bearing if line.bearing in place_of else None
                    self.done_before[visit].add((line.kind, of))
            if line.bearing in place_of:
                lines[line.bearing].append(line)
                known.append(line)
            else:
                whole[line.bearing].append(line)
        for bearing, place in place_of.items():
            shared = whole.get(place, [])
            first = {}
            for line in shared:
                first[line.visit] = min(line.order, first.get(line.visit, line.order))
            settle_phases(lines[bearing], first)
            lines[bearing] += shared
        return lines, known

    def _joins(self) -> dict[tuple[UUID, int], tuple | None]:
        """Place and day to the sheet's visit that a stored visit of that day is; None where the day has
        several.
        """
        found: dict[tuple[UUID, int], tuple | None] = {}
        for row in self.new:
            place, key = self.placed[row.number], visit_key(row, self.placed[row.number])
            day = (place, row.values["date"].first.toordinal())
            found[day] = key if found.get(day, key) == key else None
        return found

    def _stages(self, works: Sequence[Line]) -> Iterator[Finding]:
        """Readings of a sheet of the plant's own whose stage nobody declared, in a visit whose remark tells
        of work.

        `works`: those still asked about, so that both are asked at once.
        """
        told: dict[object, str] = {}
        for work in works:
            told.setdefault(work.visit, work.kind)
        for row in self.new:
            if row.source and row.typed.get("event") == EventKind.NOTE and row.values["event"] in WORK:
                told.setdefault(visit_key(row, self.placed[row.number]), row.values["event"])
        alike: dict[str, list[ParsedRow]] = defaultdict(list)
        for row in self.new if told else ():
            kind = told.get(visit_key(row, self.placed[row.number]))
            if kind and row.source and row.values["event"] == READING and "stage" not in row.values:
                alike[kind].append(row)
        for kind, some in alike.items():
            yield from ask_alike(
                some,
                "stage",
                "as found or as left",
                "say whether these were measured before the work or after it",
                "stage_unclear",
                about=kind,
            )

    def _hours(self) -> Iterator[Hours]:
        for row in self.new:
            if (one := hours_in(row, self.placed[row.number])) is not None:
                yield one
        yield from stored_facts.hours_of(self.places)

    def _changed(self) -> dict[UUID, list[int]]:
        found = stored_facts.pump_changes(self.places)
        for row in self.new:
            if row.values["event"] == EventKind.PUMP_CHANGE:
                found.setdefault(self.placed[row.number], []).append(row.values["date"].first.toordinal())
        return found

    def _around(self) -> Surroundings:
        """What remarks are held against."""
        works: dict[object, set[tuple[str, UUID | None]]] = defaultdict(set)
        measured: dict[object, list[str]] = defaultdict(list)
        for row in self.rows:
            visit, event = visit_key(row, self.placed[row.number]), row.values["event"]
            if event in WORK:
                works[visit].add((event, row.bearing))
            elif row.bearing and event in (READING, EventKind.OPENED):
                name = self.directory.name_of(row.bearing)
                measured[visit] += [] if name in measured[visit] else [name]
        spelt = names_by_place(self.directory)
        return Surroundings(
            {row.number: visit_key(row, self.placed[row.number]) for row in self.rows},
            works,
            measured,
            lambda row: spelt.get(self.placed[row.number], {}),
            lambda row: bearings_by_name(self.directory, self.placed[row.number]),
            self._told_before,
        )

    def _told_before(self, kind: str, position: str, row: ParsedRow) -> bool:
        """Whether the record holds the work a remark names, and no answer made this very remark that work."""
        told = self.done_before.get(visit_key(row, self.placed[row.number]), ())
        bearing = bearings_by_name(self.directory, self.placed[row.number]).get(position)
        if not any(k == kind and (not position or of in (bearing, None)) for k, of in told):
            return False
        idents = {answers.ident(NAMES_WORK, row), answers.wide_ident(NAMES_WORK, row)}
        return not self.answers.knows_row(NAMES_WORK, kind, idents)


def _stored_otherwise(lines: dict[UUID, list[Line]], known: Sequence[Line]) -> Iterator[Finding]:
    """A new row that meets a stored reading in everything but, perhaps, the value."""
    if not known:
        return
    there: dict[tuple, Line] = {
        (line.bearing, line.day, line.phase, line.quantity, line.station, line.method): line
        for line in known
        if line.kind == READING
    }
    for some in lines.values():
        for line in some:
            if line.row is None or line.kind != READING:
                continue
            key = (line.bearing, line.day, line.phase, line.quantity, line.station, line.method)
            other = there.get(key)
            # The sheet's own id of the row is asked about already where it is known with other content.
            if other is not None and not (other.row_id and other.row_id == line.row.get("entry_id")):
                line.row.values["_stored"] = other
                yield line.row.question(
                    "value",
                    f"'{other.typed}' {other.unit} as the record has it for that day, stage, station and"
                    " method",
                    "correct the stored reading, or set this row aside if it is the same measurement",
                    "rounded_otherwise" if _is_rounded(line, other) else "stored_otherwise",
                    found=f"'{line.typed}' {line.unit}",
                )


def _is_rounded(line: Line, other: Line) -> bool:
    """Whether two readings are one, typed with fewer digits or in another unit."""
    if line.middle is None or other.middle is None or line.value is None or other.value is None:
        return False
    return abs(line.value - other.value) <= 0.55 * (line.step + other.step)
