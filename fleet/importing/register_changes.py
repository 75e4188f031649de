"""From the rows of a register to what changes: new places and positions, and dated
versions of what is known.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from typing import Any

from fleet.importing.columns import CLEAR
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.register_columns import CLEARANCES, LIMITS, OF_THE_POSITION, OF_THE_PUMP
from fleet.importing.register_state import State
from fleet.ledger.writing import Fact
from fleet.models import (
    Bearing,
    BearingFacts,
    Half,
    JournalDiameter,
    Limit,
    LoadSide,
    Place,
    Recorded,
    Rotor,
    Seat,
    ShellFitting,
    ShellHalf,
    Site,
    WearClass,
    folded,
)
from fleet.plant.acts import fact_of, revision_of
from fleet.plant.register import NewPlace, next_facts, place_rows, position_rows, version_order
from fleet.plant.second_person import proposed
from fleet.units import Day

_WHEN_CLEARED = {
    "seat": Seat.CYLINDRICAL.value,
    "load_side": LoadSide.BOTTOM.value,
    "scrapeable": None,
    "speed_rpm": None,
    "duty_hours_per_day": None,
    "consequence_money": None,
    "journal_diameter_um": None,
    "length_um": None,
    "wall_new_um": None,
    "lining_new_um": None,
    "wear_class_id": None,
}
AGAIN = "the register came again"


class Changes:
    """Collects the facts of one register; `touched` are the numbers of the rows that change something."""

    def __init__(self, state: State, waits: frozenset[uuid.UUID] = frozenset()) -> None:
        self.state = state
        self.waits = waits  # sites where limits want a second person
        self.n_waiting = 0
        self.facts: list[Fact] = []
        self.touched: set[int] = set()
        self._repeated: frozenset[int] = frozenset()
        self._models: dict[Any, str] = {}

    def skip_repeated(self, rows: Iterable[ParsedRow]) -> None:
        """A position that stands twice with the same content is told once."""
        seen: set[tuple[Any, ...]] = set()
        again = set()
        for row in rows:
            key = (row.values["_site"].id, folded(row.values["pump"]), folded(row.values["position"]))
            if key in seen:
                again.add(row.number)
            seen.add(key)
        self._repeated = frozenset(again)

    def add(self, row: ParsedRow, *rows: Recorded) -> None:
        """New rows that come of one sheet row."""
        self.facts += [fact_of(one) for one in rows]
        if rows:
            self.touched.add(row.number)

    def revise(self, row: ParsedRow, thing: Recorded, values: Mapping[str, Any]) -> None:
        """Other values for a row that is there."""
        self.facts.append(revision_of(thing, values, reason=AGAIN))
        self.touched.add(row.number)

    # The pump --------------------------------------------------------------------------------------------

    def pump(self, site: Site, place: Place | None, rows: list[ParsedRow], today: dt.date) -> None:
        """All rows of one pump."""
        rotor: Rotor | None
        if place is None:
            place, rotor = self._new_place(site, rows)
        else:
            rotor = self.state.rotors.get(place.id)
            self._place_again(place, rows, today)
        for row in rows:
            if row.number not in self._repeated:
                self._position(place, rotor, row, today)

    def _new_place(self, site: Site, rows: list[ParsedRow]) -> tuple[Place, Rotor]:
        facts = {
            field: next(row.values[name] for row in rows if name in row.values)
            for name, field in OF_THE_PUMP.items()
            if any(name in row.values for row in rows)
        }
        known = {field: value for field, value in facts.items() if value is not CLEAR}
        made = place_rows(NewPlace(site=site, tag=rows[0].values["pump"], positions=(), facts=known))
        self.add(rows[0], *made)
        place = next(one for one in made if isinstance(one, Place))
        rotor = next(one for one in made if isinstance(one, Rotor))
        self._models[place.id] = str(known.get("model", ""))
        return place, rotor

    def _place_again(self, place: Place, rows: list[ParsedRow], today: dt.date) -> None:
        before = self.state.place_facts.get(place.id)
        changed: dict[str, Any] = {}
        for name, field in OF_THE_PUMP.items():
            row = next((one for one in rows if name in one.values), None)
            if row is None:
                continue
            value = _as_known(field, row.values[name])
            if value != getattr(before, field, _WHEN_CLEARED.get(field, "")):
                changed[field] = value
                self.touched.add(row.number)
        if changed:
            self.facts.append(fact_of(next_facts(place, before, changed, today if before else None)))

    # The position ----------------------------------------------------------------------------------------

    def _position(self, place: Place, rotor: Rotor | None, row: ParsedRow, today: dt.date) -> None:
        bearing: Bearing | None = row.values.get("_bearing")
        given = {field: row.values[name] for name, field in OF_THE_POSITION.items() if name in row.values}
        if bearing is None:
            known = {field: value for field, value in given.items() if value is not CLEAR}
            wear_class = self._class(row, row.get("class") or row.get("model") or self._model_of(place))
            if wear_class:
                known["wear_class"] = wear_class
            made = position_rows(place=place, rotor=rotor, position=row.values["position"], facts=known)
            self.add(row, *made)
            bearing = next(one for one in made if isinstance(one, Bearing))
        else:
            self._position_again(bearing, rotor, given, row, today)
        self._limits(bearing, row, today)
        self._shell(bearing, place, row, today)

    def _position_again(
        self, bearing: Bearing, rotor: Rotor | None, given: dict[str, Any], row: ParsedRow, today: dt.date
    ) -> None:
        before = self.state.bearing_facts.get(bearing.id)
        blank = BearingFacts()
        values = {field: _as_known(field, value) for field, value in given.items()}
        changed = {f: value for f, value in values.items() if value != getattr(before or blank, f)}
        named = row.get("class")
        if not named and row.get("model") and getattr(before, "wear_class_id", None) is None:
            named = row.get("model")
        if named:
            wear_class = None if named is CLEAR else self._class(row, named)
            if getattr(before, "wear_class_id", None) != (wear_class.id if wear_class else None):
                changed["wear_class_id"] = wear_class.id if wear_class else None
        if not changed:
            return
        self.add(row, next_facts(bearing, before, changed, today if before else None))
        diameter = changed.get("journal_diameter_um")
        journal = self.state.journals.get((rotor.id, bearing.folded)) if rotor else None
        if diameter is not None and journal is not None:
            first = journal.id not in self.state.diameters
            self.add(
                row, JournalDiameter(journal=journal, diameter_um=diameter, from_on=None if first else today)
            )

    def _model_of(self, place: Place) -> Any:
        known = self.state.place_facts.get(place.id)
        return self._models.get(place.id) or (known.model if known else "")

    def _class(self, row: ParsedRow, name: Any) -> WearClass | None:
        """The class of that name, made where there is none; `-` and nothing give none."""
        if not name or name is CLEAR:
            return None
        key = folded(name)
        if key not in self.state.classes:
            self.state.classes[key] = WearClass(name=name, folded=key)
            self.add(row, self.state.classes[key])
        return self.state.classes[key]

    # Limits ----------------------------------------------------------------------------------------------

    def _limits(self, bearing: Bearing, row: ParsedRow, today: dt.date) -> None:
        """Each limit that the row gives and that is not in force already, from its day on."""
        declared: Day | None = row.get("limits_from")
        for column, use in LIMITS.items():
            if column not in row.values:
                continue
            before = self.state.limits.get((bearing.id, use), [])
            if row.values[column] is CLEAR and not before:
                continue
            new = self._limit(bearing, column, row, _in_force(before, declared.first if declared else today))
            if new is None:
                continue
            new.from_on = declared.first if declared else today if before else None
            self._set_or_propose(row, new)

    def _set_or_propose(self, row: ParsedRow, limit: Limit) -> None:
        """Where the site wants a second person a limit waits; one that waits already is
        not proposed again.
        """
        if row.values["_site"].id not in self.waits:
            self.add(row, limit)
            return
        key = (limit.bearing_id, limit.use)
        same = ("value_um", "authority", "document")
        if any(all(getattr(one, n) == getattr(limit, n) for n in same) for one in self.state.proposed[key]):
            return
        self.add(row, proposed(limit))
        self.n_waiting += 1

    def _limit(self, bearing: Bearing, column: str, row: ParsedRow, before: Limit | None) -> Limit | None:
        """The limit a cell stands for, or None where the one in force says the same."""
        value = row.values[column]
        lifted = value is CLEAR
        authority, document = row.get("limit_basis"), row.get("limit_document")
        limit = Limit(
            bearing=bearing,
            use=LIMITS[column],
            value_um=None if lifted else value,
            quantity="clearance" if column in CLEARANCES else "lining",
            authority=_carried(authority, before.authority if before else ""),
            document=_carried(document, before.document if before else ""),
        )
        if not lifted:
            radial = column in CLEARANCES and row.get("basis") == "radial"
            limit.typed, limit.unit = (
                row.typed[column][:33] + (" radial" if radial else ""),
                row.values["unit"],
            )
        said = ("value_um", "authority", "document")
        same = before is not None and all(getattr(before, name) == getattr(limit, name) for name in said)
        return None if same or (lifted and before is not None and before.value_um is None) else limit

    # Shells ----------------------------------------------------------------------------------------------

    def _shell(self, bearing: Bearing, place: Place, row: ParsedRow, today: dt.date) -> None:
        """Both halves from the day the register names; what later work fitted stays."""
        serial, fitted = row.get("shell"), row.get("fitted_on")
        if serial is None and fitted is None:
            return
        known = self.state.fittings.get(bearing.id, [])
        same = [one for one in known if isinstance(serial, str) and one.shell and one.shell.serial == serial]
        if same:
            self._fitted_again(same, fitted, row)
        elif CLEAR in (serial, fitted):
            self._unknown_again(known, serial is CLEAR, fitted is CLEAR, row)
        elif serial is None and any(one.from_on == fitted.first for one in known):
            return
        elif (
            known
            and known[-1].shell is None
            and known[-1].from_on in (None, fitted.first if fitted else None)
        ):
            self._now_known(known, serial, fitted, place, row)
        else:
            self._fit(bearing, place, serial, fitted, today if known else None, row)

    def _fitted_again(self, same: list[ShellFitting], fitted: Any, row: ParsedRow) -> None:
        if fitted is None:
            return
        when = _when(None if fitted is CLEAR else fitted, None)
        for one in same:
            if one.from_on != when["from_on"]:
                self.revise(row, one, when)

    def _unknown_again(self, known: list[ShellFitting], serial: bool, day: bool, row: ParsedRow) -> None:
        """`-`: the serial, or the day, of the halves fitted last is not known after all."""
        for one in known[-2:]:
            values: dict[str, Any] = {}
            if serial and one.shell_id is not None:
                values["shell_id"] = None
            if day and one.from_on is not None:
                values |= _when(None, None)
            if values:
                self.revise(row, one, values)

    def _now_known(
        self, known: list[ShellFitting], serial: Any, fitted: Any, place: Place, row: ParsedRow
    ) -> None:
        """Halves that were there without serial or day get them."""
        for one in known[-2:]:
            values: dict[str, Any] = {}
            if serial:
                values["shell_id"] = self._half(place, serial, one.half, row).id
            if fitted and one.from_on is None:
                values |= _when(fitted, None)
            if values:
                self.revise(row, one, values)

    def _fit(
        self, bearing: Bearing, place: Place, serial: Any, fitted: Any, otherwise: Any, row: ParsedRow
    ) -> None:
        for half in Half.values:
            shell = self._half(place, serial, half, row) if serial else None
            when = _when(fitted, otherwise)
            self.add(row, ShellFitting(bearing=bearing, half=half, shell=shell, **when))

    def _half(self, place: Place, serial: str, half: str, row: ParsedRow) -> ShellHalf:
        key = (place.site_id, serial, half)
        if key not in self.state.shells:
            shell_type = row.get("shell_type")
            self.state.shells[key] = ShellHalf(
                site=place.site,
                serial=serial,
                half=half,
                shell_type=shell_type if isinstance(shell_type, str) else "",
            )
            self.add(row, self.state.shells[key])
        return self.state.shells[key]


def _when(fitted: Day | None, otherwise: dt.date | None) -> dict[str, Any]:
    if fitted is None:
        return {"from_on": otherwise, "precision": "day"}
    return {"from_on": fitted.first, "precision": fitted.precision}


def _as_known(field: str, value: Any) -> Any:
    return _WHEN_CLEARED.get(field, "") if value is CLEAR else value


def _carried(given: Any, before: str) -> str:
    """A blank cell changes nothing, `-` clears."""
    return before if given is None else "" if given is CLEAR else given


def _in_force(limits: list[Limit], day: dt.date) -> Limit | None:
    held = [one for one in limits if one.from_on is None or one.from_on <= day]
    return max(held, key=version_order, default=None)
