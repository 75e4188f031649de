"""The answers that questions of a history may have, and what each does to the rows it is about."""

from collections.abc import Sequence

from fleet.importing.answers import SET_ASIDE, TYPED, Choice, ChosenAnswer
from fleet.importing.directory import nearest
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.questions import MEASURED
from fleet.measuring_methods import METHODS
from fleet.models import folded
from fleet.units import UnknownUnit, canonical_unit
from inspections.importing import first_readings, new_pumps, remark_values
from inspections.importing.end_names import end_word, learn_end
from inspections.importing.examples import with_example
from inspections.importing.first_readings import FIRST_NEAR_NEW
from inspections.importing.lines import station_of, visit_key
from inspections.importing.meter_answers import drop_hours, reset, thousandfold, without_marks
from inspections.importing.new_pumps import CREATE, NEW_PUMP, position_named
from inspections.importing.remark_answers import of_remark
from inspections.importing.remark_values import of_value
from inspections.importing.remarks import DOUBTFUL_WORD, NAMES_WORK
from inspections.importing.row_changes import another_work, meets_stored, months_only, set_cell, typed_value

# What the questions of a history are called where several are shown together.
KIND_WORDS = {
    "remark_names_work": "remarks that name work",
    "scrapped_or_scraped": "scraped, or thrown away",
    "work_without_drop": "new metal that lowered no clearance",
    "scrape_with_drop": "scrapes after which the clearance was smaller",
    "run_hours_fall": "run hours that fall",
    "run_hours_rise": "run hours that rise too fast",
    "grouping_mark": "counts whose mark may part thousands",
    "run_hours_slow": "run hours of under 100 a year",
    "unit_in_title": "the sheet names another unit than the plan",
    "basis_in_title": "the sheet names another basis than the plan",
    "jump": "clearances off by a factor",
    "clearance_range": "clearances that do not fit the journal",
    "fall_without_event": "clearances that fall without work",
    "two_units_disagree": "one reading in two units that disagree",
    FIRST_NEAR_NEW: "records that begin at new clearance",
    "stored_otherwise": "readings the record has with another value",
    "rounded_otherwise": "readings the record has, rounded otherwise",
    "first_days": "dates all on the first of a month",
    "new_method": "a method met for the first time",
    "new_station": "a station met for the first time",
    "tag_at_two_sites": "a pump's name that stands at two sites",
    "stage_unclear": "one reading beside work: before it or after",
    "unknown_position": "positions the pump does not have",
    "new_pump": "pumps and bearings nobody has registered",
    "taken_out": "bearings taken out before storing",
    "spelt_otherwise": "pumps spelt otherwise than the register has them",
    "position_spelt": "positions spelt otherwise",
}
KIND_LEADS = {
    "new_pump": (
        "They can be made with this import, and are taken back with it. Journals, classes and limits may"
        " follow; until then the checks that need them are off, and each page says so."
    ),
    "remark_names_work": (
        "If work was done, it is stored with the remark's words at the bearing named beside it: the one its"
        " own clause names, or where it names none each bearing of that day, to be ticked by itself. If not,"
        " the remark stays a note."
    ),
    "scrapped_or_scraped": "'Scrapped' is often a slip for 'scraped', as often it means thrown away.",
    "run_hours_slow": (
        "A pump in service gives more. Perhaps a mark that parts thousands was read as the decimal mark, or"
        " the meter counts in another unit."
    ),
    "run_hours_fall": "A meter falls when it was changed or set back, or when it was typed wrong.",
    "fall_without_event": (
        "Wear makes a clearance larger. Something made these smaller, or they are no readings of this"
        " bearing."
    ),
    "stored_otherwise": "The record holds a reading of that day, stage and place with another value.",
    "rounded_otherwise": "The record holds these readings already; they differ by no more than rounding.",
    FIRST_NEAR_NEW: first_readings.LEAD,
    "stage_unclear": "One value beside work says nothing of when it was taken.",
    "first_days": "Days hardly fall so by chance: probably only the months were known.",
    "unknown_pump": "The spelling is learnt: it is not asked about again.",
    "spelt_otherwise": "Letters and digits are the same. The spellings are learnt and not asked about again.",
    "position_spelt": "Letters and digits are the same. The spellings are learnt for these pumps.",
    "unknown_position": (
        "The spelling is learnt for these pumps: it is not asked about again. What AS, BS, CA, COA, LA and"
        " LOA mean is learnt for the whole site."
    ),
}
UNITS = ("mm", "um", "mil", "thou", "in")
_RIGHT = Choice("right", "they are right as they stand")
_APART = Choice("apart", "keep them, but not for wear", "why")
_UNIT = Choice("unit", "they were read in another unit", "the unit", UNITS, only=True)
_RADIAL = Choice("radial", "these are radial clearances")
_LEAVE = Choice("leave", "leave them out")
# Of cells that a plan could not read; what each means is done where the plan is applied.
_OF_CELLS: dict[str, tuple[Choice, ...]] = {
    "two_values": (
        Choice("ends", "they are the two ends: pump side first"),
        Choice("range", "it lies between the two"),
        Choice("repeat", "they are two measurements of one"),
    ),
    "swallowed_date": (
        Choice("day_month", "day and month were the two numbers: 4 March was 4-3"),
        Choice("month_day", "month and day were the two numbers: 4 March was 3-4"),
        _LEAVE,
    ),
    "odd_word": (
        Choice("opened", "opened, nothing measured; keep the word"),
        Choice("remark", "keep it as a remark"),
        _LEAVE,
    ),
    "marked_number": (Choice("number", "read the number, keep the mark as its remark"), _LEAVE),
    "season": (
        Choice("north", "northern: spring is March to May"),
        Choice("south", "southern: spring is September to November"),
        Choice("year", "only the year is known"),
    ),
    "grouping_mark": (
        Choice("thousands", "the mark parts thousands: 20.500 is twenty thousand five hundred"),
        Choice("decimal", "it is the decimal mark: 20.500 is twenty and a half"),
    ),
    "unit_in_title": (
        Choice("unit", "the numbers are in", "the unit", (*UNITS, "1/100 mm"), only=True),
        Choice("as_planned", "they are in the unit of the plan"),
    ),
    "basis_in_title": (
        Choice("radial", "they are radial clearances"),
        Choice("diametral", "they are diametral clearances"),
    ),
    "size": (
        Choice("unit", "numbers of this size are in", "the unit", (*UNITS, "1/100 mm"), only=True),
        Choice("as_planned", "they are in the unit of the plan"),
    ),
}
_SAME = Choice("same", "it is the same measurement: keep what is stored")
_CORRECT = Choice("correct", "the stored reading was wrong: this one is right")
_SECOND = Choice("second", "it is a second measurement: keep both, the stored one counts")
_DROP = Choice("drop", "the hours were typed wrong: leave them out")
_SWAP = Choice("swap", "the two positions of the pump were mixed up in that visit")
_OF_ROWS: dict[str, tuple[Choice, ...]] = {
    "new_station": (
        Choice("is", "it is the station", "end and clock, such as in-12"),
        Choice("none", "it says nothing of the place"),
    ),
    "spelt_otherwise": (Choice("is", "yes: each means the pump beside it, from now on"),),
    "position_spelt": (Choice("is", "yes: each means the position beside it, from now on"),),
    "first_days": (Choice("month", "only the months are known"), Choice("right", "these are the days")),
    "run_hours_fall": (Choice("reset", "the meter was changed or set back there"), _DROP),
    "run_hours_rise": (_DROP, _RIGHT),
    "run_hours_slow": (
        Choice("thousands", "thousands were meant: a thousand times as many"),
        Choice("right", "they are right: the pump hardly runs"),
        _DROP,
    ),
    "jump": (_RIGHT, _APART, _UNIT, _RADIAL, _SWAP),
    "clearance_range": (_RIGHT, _APART, _UNIT, _RADIAL),
    "fall_without_event": (
        _SWAP,
        Choice("right", "keep them: something made it smaller that nobody wrote down"),
        _APART,
    ),
    FIRST_NEAR_NEW: first_readings.CHOICES,
    "stage_unclear": (
        Choice("as_found", "they were measured before the work"),
        Choice("as_left", "they were measured after it"),
    ),
    "scrapped_or_scraped": (
        Choice("scrape", "scraped: metal was taken off the lining there"),
        Choice("shell_change", "scrapped: the old shell was thrown away and new metal went in there"),
        Choice("nothing", "scrapped: thrown away, and nothing was done to what runs there"),
    ),
    "work_without_drop": (
        Choice("right", "new metal went in all the same; the readings are right"),
        Choice("scrape", "it was a scrape"),
        Choice("nothing", "no such work was done there: keep the words as a note"),
    ),
    "scrape_with_drop": (
        Choice("right", "it was scraped all the same; the readings are right"),
        Choice("shell_change", "new metal went in"),
        Choice("nothing", "no such work was done there: keep the words as a note"),
    ),
    "two_units_disagree": (_APART, _RIGHT),
    "stored_otherwise": (_CORRECT, _SAME, _SECOND),
    "rounded_otherwise": (_SAME, _CORRECT, _SECOND),
}
# A cell that can be typed as it should be: values that do not fit, and cells that could not be read.
_TYPED_VALUES = frozenset(
    {"jump", "clearance_range", "fall_without_event", "two_units_disagree", "stored_otherwise"}
)
# Cells of values: an answer for all alike holds for further ones too, what one should say for that one alone.
VALUE_CELLS = frozenset({"two_values", "swallowed_date", "marked_number"})
_TYPED_CELLS = VALUE_CELLS | frozenset(
    {"odd_word", "number", "date", "future", "unit", "word", "too_long", "bounds"}
)
OF_REMARKS = frozenset({NAMES_WORK, DOUBTFUL_WORD, *MEASURED})
OF_NAMES = frozenset(
    {
        "unknown_pump",
        "unknown_site",
        "unknown_position",
        "tag_at_two_sites",
        "spelt_otherwise",
        "position_spelt",
        NEW_PUMP,
    }
)
# An answer to these is about words, in whatever row; every other is about the rows it was given for.
_OF_WORDS = frozenset(
    {
        *_OF_CELLS,
        "unknown_pump",
        "unknown_site",
        "unknown_position",
        "tag_at_two_sites",
        "new_method",
        "new_station",
    }
)


def ident(code: str, row: ParsedRow) -> str:
    """By what an answer knows a row: nothing (about a word), the remark's text, or the row's own words."""
    if code == "unknown_position":
        return folded(row.get("pump", ""))
    if code == NEW_PUMP:
        return position_named(row)
    if code in _OF_WORDS:
        return row.typed.get("value", "") if code == "odd_word" or code in VALUE_CELLS else ""
    if code in OF_REMARKS:
        return f"{wide_ident(code, row)}|{folded(row.get('pump', ''))}|{row.typed.get('date', '')}"
    if code == "first_days":
        return ""
    if code in ("spelt_otherwise", "position_spelt"):
        return folded(row.get("pump" if code == "spelt_otherwise" else "position", ""))
    return row.ident


def wide_ident(code: str, row: ParsedRow) -> str:
    """By what an answer knows all rows that say the same, where they are too many to be ticked one by one."""
    if code == "unknown_position":
        return ""
    return " ".join(row.get("note", "").casefold().split())[:120] if code in OF_REMARKS else ident(code, row)


def choices(code: str, about: str, rows: Sequence[ParsedRow], context: Context) -> Sequence[Choice]:
    """What may be answered, the likeliest first; setting aside is always possible."""
    found = _choices(code, about, rows, context)
    if code in _TYPED_VALUES or code in _TYPED_CELLS:
        found = [*found, TYPED]
    if rows:
        found = [with_example(code, about, one, rows[0]) for one in found]
    return (*found, SET_ASIDE)


def _choices(code: str, about: str, rows: Sequence[ParsedRow], context: Context) -> Sequence[Choice]:
    if code in _OF_CELLS:
        return _OF_CELLS[code]
    if code == NEW_PUMP:
        return new_pumps.choices(about, context)
    if code in ("unknown_pump", "unknown_position", "unknown_site", "tag_at_two_sites"):
        return _names(code, about, rows, context)
    if code == NAMES_WORK:
        return Choice("yes", "each tells of the work beside it, at the bearing named there"), Choice(
            "no", "no such work was done there"
        )
    if code == "new_method":
        return (
            Choice("is", "it is another word for", "the method", tuple(METHODS), only=True),
            Choice("new", "it is a method of our own"),
        )
    return remark_values.CHOICES.get(code) or _OF_ROWS.get(code, ())


def _names(code: str, about: str, rows: Sequence[ParsedRow], context: Context) -> Sequence[Choice]:
    directory, first = context.directory, rows[0] if rows else None
    site = directory.site(first.get("site", "") or "") if first and first.get("site") else context.site
    if code == "unknown_site":
        near = directory.nearest_sites(about)
        known = [s.name for s in directory.sites.values() if directory._may_offer(s.id)]
        offered = tuple(dict.fromkeys([*near, *sorted(known)]))
        is_known = Choice("is", f"'{about}' means the site", "the site", offered, only=True)
        makes = (Choice(CREATE, f"'{about}' is a new site: create it"),) if context.sites is None else ()
        return (is_known, *makes)
    if code == "tag_at_two_sites":
        known = sorted({place.site.name for place in directory.places_of(about)})
        return (Choice("site", "it stands at", "the site", tuple(known), only=True),)
    if code == "unknown_position":
        offered = _positions_offered(about, rows, context)
        return (
            Choice("is", f"'{about}' means the position", "the position", offered, only=True),
            Choice(CREATE, f"'{about}' is a position of its own: create it"),
        )
    places = [p for some in directory.places.values() for p in some if site is None or p.site_id == site.id]
    tags = sorted({p.tag for p in places if directory._may_offer(p.site_id)})
    offered = tuple(dict.fromkeys([*directory.nearest_tags(about, site), *tags]))[:400]
    return (
        Choice("is", f"'{about}' means the pump, from now on", "the pump", offered, only=True),
        Choice(CREATE, f"'{about}' is a new pump: create it with its bearings"),
    )


def _positions_offered(about: str, rows: Sequence[ParsedRow], context: Context) -> tuple[str, ...]:
    """The positions of the pumps asked about, the nearest by letters first, but for an end's name."""
    directory, placed = context.directory, context.memory.get("places", {})
    places = list(dict.fromkeys(placed[row.number] for row in rows if row.number in placed))
    known = [one.name for place in places for one in directory.positions.get(place, [])]
    return tuple(dict.fromkeys([*([] if end_word(about) else nearest(about, known)), *known]))


# what an answer does ---------------------------------------------------------------------------------------


def answer(given: ChosenAnswer, rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """Change rows as an answer says; True where everything must be checked again."""
    code, about, choice, value = given
    if choice == CREATE:
        return _create(code, about, value, rows, context)
    if choice == "is" and code in OF_NAMES:
        return _is(code, about, value, rows, context)
    if code == "tag_at_two_sites" and choice == "site":
        return set_cell(rows, "site", value)
    if code == "grouping_mark":
        return choice == "thousands" and without_marks(rows, about)
    if code == "run_hours_slow" and choice == "thousands":
        return thousandfold(rows)
    if code in ("run_hours_fall", "run_hours_rise", "run_hours_slow") and choice in ("reset", "drop"):
        return reset(rows, parsed, context) if choice == "reset" else drop_hours(code, rows, parsed, context)
    if code in OF_REMARKS or code == FIRST_NEAR_NEW:
        return _of_remark(given, rows, parsed, context)
    if code in ("stored_otherwise", "rounded_otherwise"):
        return meets_stored(choice, rows, context)
    if code in ("work_without_drop", "scrape_with_drop") and choice != "right":
        return another_work(choice, rows)
    if choice == TYPED.word and code in _TYPED_VALUES:
        return typed_value(value, rows, context)
    if choice == "swap":
        return _swap(rows, parsed, context)
    return _other(code, choice, value, rows)


def _of_remark(given: ChosenAnswer, rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """A measurement or a work that remarks tell of, or that the clearance lets one suppose."""
    code, about, choice, value = given
    if code == FIRST_NEAR_NEW:
        return choice == "new" and first_readings.fitted_then(rows, parsed, context)
    if code in MEASURED:
        return of_value(code, about, choice, value, rows, parsed)
    return of_remark(code, about, choice, rows, parsed, context)


def _swap(rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """The readings of a visit change places between the pump's two positions."""
    placed = context.memory["places"]
    visits = {visit_key(row, placed[row.number]) for row in rows}
    changed = False
    for row in parsed.rows:
        if row.bearing is None or row.get("event") != "reading" or "date" not in row.values:
            continue
        key = visit_key(row, placed[row.number])
        others = [
            one for one in context.directory.positions.get(placed[row.number], []) if one.pk != row.bearing
        ]
        if key in visits and len(others) == 1:
            _ = row.ident
            row.values["position"] = others[0].name
            changed = True
    return changed


def _other(code: str, choice: str, value: str, rows: Sequence[ParsedRow]) -> bool:
    if code == "new_method":
        return (
            set_cell(rows, "method", value)
            if choice == "is"
            else set_cell(rows, "_new_method", (rows[0].get("method"),))
        )
    if code == "new_station":
        if choice == "is" and station_of(value) is None:
            return False
        return set_cell(rows, "station", value if choice == "is" else "")
    if code == "first_days" and choice == "month":
        return months_only(rows)
    if code == "stage_unclear":
        return set_cell(rows, "stage", choice)
    if choice == "apart":
        return set_cell(rows, "_apart", value or "kept apart when the sheet was brought") and False
    if choice == "unit":
        try:
            return set_cell(rows, "unit", canonical_unit(value))
        except UnknownUnit:
            return False
    return set_cell(rows, "basis", "radial") if choice == "radial" else False


def _is(code: str, about: str, value: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """A name means a thing of the register."""
    if code in ("spelt_otherwise", "position_spelt"):
        return _as_spelt(code, rows, context)
    if code == NEW_PUMP:
        return _means("unknown_pump", about.partition("|")[2], value, rows, context)
    return _means(code, about, value, rows, context)


def _create(code: str, about: str, value: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """A site, a pump or a position that nobody has registered, made with the import."""
    if code == "unknown_site":
        return new_pumps.create_site(about, context)
    if code == NEW_PUMP:
        return new_pumps.create(about, value, rows, context)
    if code == "unknown_pump":
        by_site: dict[str, list[ParsedRow]] = {}
        for row in rows:
            by_site.setdefault(row.get("site") or "", []).append(row)
        made = [
            new_pumps.create(new_pumps.subject(s, about), "", some, context) for s, some in by_site.items()
        ]
        return any(made)
    placed = {context.memory["places"].get(row.number) for row in rows} - {None}
    places = [place for pk in placed if (place := context.directory.place(pk)) is not None]
    made = [new_pumps.create_position(place, about, context) for place in places]  # every one of them
    return any(made)


def _means(code: str, about: str, value: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """Another spelling of a name, used at once and learnt when the sheet is stored."""
    directory = context.directory
    learnt = context.memory.setdefault("learnt", {})
    if code == "unknown_site":
        site = directory.site(value)
        if site is None:
            return False
        directory.sites[directory.fold(about)] = site
        learnt[("site", site.pk, about)] = site
        return True
    site = directory.site(rows[0].get("site")) if rows[0].get("site") else context.site
    if code == "unknown_pump":
        places = directory.places_of(value, site)
        if len(places) != 1:
            return False
        directory.places.setdefault(directory.fold(about), []).append(places[0])
        learnt[("place", places[0].pk, about)] = places[0]
        return True
    done = False
    for place_id in {context.memory["places"].get(row.number) for row in rows} - {None}:
        place = next(p for some in directory.places.values() for p in some if p.pk == place_id)
        bearing = directory.bearing(place, value)
        if bearing is not None:
            learn_end(about, bearing.name, place.site_id, context)
            directory.bearings[place.pk, directory.fold(about)] = bearing
            learnt[("bearing", bearing.pk, about)] = bearing
            done = True
    return done


def _as_spelt(code: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """Each name means the one that has its letters and digits."""
    directory, learnt = context.directory, context.memory.setdefault("learnt", {})
    by_id = (
        {place.pk: place for some in directory.places.values() for place in some}
        if code == "position_spelt"
        else {}
    )
    for row in rows:
        tag = row.values["pump"]
        site = directory.site(row.get("site")) if row.get("site") else context.site
        if code == "spelt_otherwise":
            if not directory.places_of(tag, site) and (place := directory.spelt(tag, site)):
                directory.places.setdefault(directory.fold(tag), []).append(place)
                learnt["place", place.pk, tag] = place
            continue
        place_of = by_id.get(context.memory["places"].get(row.number)) or directory.spelt(tag, site)
        name = row.values["position"]
        if (
            place_of
            and directory.bearing(place_of, name) is None
            and (meant := directory.spelt_position(name, place_of))
        ):
            directory.bearings[place_of.pk, directory.fold(name)] = meant
            learnt["bearing", meant.pk, name] = meant
    return True
