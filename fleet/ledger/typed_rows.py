"""Every typed row against what its entries say: each column, each stamp, and whether it was withdrawn."""

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any
from uuid import UUID

from fleet.ledger import kinds
from fleet.ledger.driver_rows import ABSENT, DriverRows, Row, column_of, reader
from fleet.models.recorded import Recorded

# The stamps of a row, each a copy of what stands in the entry that added it; `withdrawn_by` is looked at by
# itself.
STAMPS = ("chain", "entry_n", "act", "recorded_by", "recorded_at")


@dataclass
class Expected:
    """What the entries say of the typed rows; ids and stamps in the form of the database's driver.

    rows: by kind and row, the entry's body and its stamps in the order of `STAMPS`. changes: each body of a
    withdrawal or revision with its act, in the order of their chains, then of recording. faults: what entries
    say that cannot be.
    """

    driver: DriverRows
    rows: dict[str, dict[str, tuple[kinds.Body, Row]]] = field(default_factory=dict)
    withdrawn: dict[str, str] = field(default_factory=dict)
    changes: list[tuple[kinds.Body, str]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def take(self, entry: Row, kind: str, thing: str | None, body: kinds.Body) -> None:
        """Keep what an entry says; `entry` holds its stamps. A kind nobody knows raises LookupError."""
        if kinds.kind(kind).model:
            rows = self.rows.setdefault(kind, {})
            if thing in rows:
                self.faults.append(
                    f"{kinds.words_of(kind)} {self.driver.id_text(thing)}: two entries add it."
                )
            if thing is not None:
                rows[thing] = body, entry
        elif kind in ("withdrawal", "revision"):
            self.changes.append((body, entry[2]))
        elif kind == "import_withdrawal":
            for of, ids in body["kinds"].items():
                self.changes += [({"of": of, "id": row}, entry[2]) for row in ids]

    def words(self, kind: str, row: str | None) -> str:
        """A row in words: its kind and its id."""
        return f"{kinds.words_of(kind)} {self.driver.id_text(row)}"

    def fold(self) -> None:
        """Apply the changes in the order of their chains: a row's changes stand on its own chain, so no clock
        is asked.
        """
        for body, act in self.changes:
            try:
                row = self.driver.id(str(UUID(body["id"])))
                known = self.rows.get(body["of"], {}).get(row)
            except (KeyError, ValueError, TypeError, AttributeError):
                self.faults.append(
                    f"An entry of the act {self.driver.id_text(act)} changes a row and does not say which."
                )
                continue
            if known is None:
                self.faults.append(f"{self.words(body['of'], row)}: an entry changes it, and none added it.")
            elif "set" in body:
                known[0].update(body["set"])
            else:
                self.withdrawn[row] = act


def check_rows(expected: Expected) -> tuple[int, list[str]]:
    """Compare all typed tables with what the entries say of them.

    Returns
    -------
    tuple
        how many rows were read, and a sentence for each fault.
    """
    n, faults = 0, list(expected.faults)
    for known in kinds.all_kinds():
        if known.model is None:
            continue
        rows = expected.rows.pop(known.name, {})
        table = _Table(expected.driver, known, known.model)
        for chunk in table.chunks():
            n += len(chunk)
            faults += table.faults(chunk, rows, expected.withdrawn)
        faults += [f"{table.place(pk)}: its entry is there, its row is not." for pk in rows]
    return n, faults


class _Table:
    """One typed table: its rows in the driver's form, and what is wrong with them. Its own id is not compared
    again: by it a row was found.
    """

    def __init__(self, driver: DriverRows, known: kinds.Kind, model: type[Recorded]) -> None:
        self.driver, self.known, self.model = driver, known, model
        self.fields = [f for f in known.fields if not f.primary_key]
        formers = [driver.former(f) for f in self.fields]
        self.columns = {
            f.attname: (at, driver.taken_as_it_is(f), formers[at]) for at, f in enumerate(self.fields)
        }
        self.left_out = [former(ABSENT) for former in formers]

    def chunks(self) -> Iterator[list[Row]]:
        """Id, who withdrew it, stamps and own columns of every row."""
        names = ["id", "withdrawn_by", *STAMPS, *(f.attname for f in self.fields)]
        return self.driver.chunks(self.model, names)

    def place(self, pk: str) -> str:
        return f"{self.known.words} {self.driver.id_text(pk)}"

    def faults(
        self, rows: list[Row], said: dict[str, tuple[kinds.Body, Row]], withdrawn: dict[str, str]
    ) -> Iterator[str]:
        """What is wrong with rows; each takes its entry's body and stamps out of `said`."""
        column_of, left_out = self.columns.get, self.left_out
        for row in rows:
            entry = said.pop(row[0], None)
            if entry is None:
                yield f"{self.place(row[0])}: a row that no entry stands for."
                continue
            body, stamps = entry
            meant = left_out.copy()
            for name, value in body.items():
                column = column_of(name)
                if column is not None:
                    at, as_it_is, former = column
                    meant[at] = value if type(value) is as_it_is else former(value)
            if row != (row[0], withdrawn.get(row[0]), *stamps, *meant):
                yield from self._told(row, body, stamps, withdrawn.get(row[0]))

    def _told(self, row: Row, body: kinds.Body, stamps: Row, withdrawn: str | None) -> Iterator[str]:
        """A row that differs in the driver's form, cell by cell as values."""
        place, n_stamps = self.place(row[0]), 2 + len(STAMPS)
        for name, form, said in zip(STAMPS, row[2:n_stamps], stamps, strict=True):
            column = column_of(self.model, name)
            value, meant = self.driver.value(column, form), self.driver.value(column, said)
            if value != meant:
                yield f"{place}: its {name} says '{value}', its entry '{meant}'."
        for form, f in zip(row[n_stamps:], self.fields, strict=True):
            value, meant = self.driver.value(f, form), self.readers[f.attname](body.get(f.attname, ABSENT))
            if not _says_the_same(value, meant):
                yield (
                    f"{place}: the row differs from its entry {stamps[0]} {stamps[1]} in {f.attname}: "
                    f"'{value}', not '{meant}'."
                )
        if row[1] != withdrawn:
            yield f"{place}: whether it was withdrawn differs from its entries."

    @cached_property
    def readers(self) -> Mapping[str, Callable[[Any], Any]]:
        return {f.attname: reader(f) for f in self.fields}


def _says_the_same(value: Any, meant: Any) -> bool:
    """Whether a column says what its entry says; of what JSON holds, a truth is not the number 1."""
    if value != meant:
        return _blank(value) and _blank(meant)
    return not isinstance(value, list | dict) or _sorted_text(value) == _sorted_text(meant)


def _sorted_text(value: Any) -> str:
    return json.dumps(value, sort_keys=True)


def _blank(value: Any) -> bool:
    """A column that says nothing: an entry leaves it out."""
    return value is None or value in ("", [], {})
