"""Every typed row against what its entries say: each column, each stamp, and whether it was withdrawn."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models

from fleet.ledger import kinds
from fleet.models.recorded import Recorded

CHUNK = 5000
# The stamps of a row, each a copy of what stands in the entry that added it; `withdrawn_by` is looked at by
# itself.
STAMPS = ("chain", "entry_n", "act", "recorded_by", "recorded_at")
_ABSENT = object()


@dataclass
class Expected:
    """What the entries say of the typed rows.

    rows: by kind and row, the entry's body and its stamps in the order of `STAMPS`. changes: each body of a
    withdrawal or revision with its act, in the order of their chains, then of recording. faults: what entries
    say that cannot be.
    """

    rows: dict[str, dict[UUID, tuple[kinds.Body, tuple[Any, ...]]]] = field(default_factory=dict)
    withdrawn: dict[UUID, UUID] = field(default_factory=dict)
    changes: list[tuple[kinds.Body, UUID]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def take(self, entry: tuple[Any, ...], kind: str, thing: UUID | None, body: kinds.Body) -> None:
        """Keep what an entry says; `entry` holds its stamps. A kind nobody knows raises LookupError."""
        if kinds.kind(kind).model:
            rows = self.rows.setdefault(kind, {})
            if thing in rows:
                self.faults.append(f"{kinds.words_of(kind)} {thing}: two entries add it.")
            if thing is not None:
                rows[thing] = body, entry
        elif kind in ("withdrawal", "revision"):
            self.changes.append((body, entry[2]))
        elif kind == "import_withdrawal":
            for of, ids in body["kinds"].items():
                self.changes += [({"of": of, "id": row}, entry[2]) for row in ids]

    def fold(self) -> None:
        """Apply the changes in the order of their chains: a row's changes stand on its own chain, so no clock
        is asked.
        """
        for body, act in self.changes:
            try:
                row = UUID(body["id"])
                known = self.rows.get(body["of"], {}).get(row)
            except (KeyError, ValueError, TypeError, AttributeError):
                self.faults.append(f"An entry of the act {act} changes a row and does not say which.")
                continue
            if known is None:
                self.faults.append(
                    f"{kinds.words_of(body['of'])} {row}: an entry changes it, and none added it."
                )
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
        for read, found in _of_table(known, known.model, rows, expected.withdrawn):
            n += read
            faults += found
        faults += [f"{known.words} {pk}: its entry is there, its row is not." for pk in rows]
    return n, faults


def _of_table(
    known: kinds.Kind,
    model: type[Recorded],
    expected: dict[UUID, tuple[Any, ...]],
    withdrawn: dict[UUID, UUID],
) -> Iterator[tuple[int, list[str]]]:
    """Chunk by chunk how many rows were read and what is wrong with them; `expected` keeps what no row stands
    for.
    """
    names = ["pk", "withdrawn_by", *STAMPS, *(f.attname for f in known.fields)]
    readers = [(f.attname, _reader(f)) for f in known.fields]
    n_stamps = 2 + len(STAMPS)
    rows = model._base_manager.order_by().values_list(*names)
    for chunk in _chunks(rows.iterator(chunk_size=CHUNK)):
        faults: list[str] = []
        for row in chunk:
            said = expected.pop(row[0], None)
            if said is None:
                faults.append(f"{known.words} {row[0]}: a row that no entry stands for.")
                continue
            body, stamps = said
            if row[2:n_stamps] != stamps:
                faults += _stamps_told(f"{known.words} {row[0]}", row[2:n_stamps], stamps)
            for value, (name, read) in zip(row[n_stamps:], readers, strict=True):
                if value != (meant := read(body.get(name, _ABSENT))) and not (
                    _blank(value) and _blank(meant)
                ):
                    faults.append(
                        f"{known.words} {row[0]}: the row differs from its entry {stamps[0]} {stamps[1]} "
                        f"in {name}: '{value}', not '{meant}'."
                    )
            if row[1] != withdrawn.get(row[0]):
                faults.append(f"{known.words} {row[0]}: whether it was withdrawn differs from its entries.")
        yield len(chunk), faults


def _chunks(rows: Iterator[tuple[Any, ...]]) -> Iterator[list[tuple[Any, ...]]]:
    chunk: list[tuple[Any, ...]] = []
    for row in rows:
        chunk.append(row)
        if len(chunk) == CHUNK:
            yield chunk
            chunk = []
    if chunk:
        yield chunk


def _stamps_told(place: str, there: tuple[Any, ...], meant: tuple[Any, ...]) -> Iterator[str]:
    for name, value, said in zip(STAMPS, there, meant, strict=True):
        if value != said:
            yield f"{place}: its {name} says '{value}', its entry '{said}'."


def _blank(value: Any) -> bool:
    """A column that says nothing: an entry leaves it out."""
    return value is None or value in ("", [], {})


def _reader(f: "models.Field[Any, Any]") -> Callable[[Any], Any]:
    """A column's value from what the entry says, each different text read once."""
    target = f.target_field if isinstance(f, models.ForeignKey) else f
    default = f.get_default()
    if isinstance(f, models.JSONField):
        return lambda value: default if value is _ABSENT else value
    seen: dict[Any, Any] = {_ABSENT: default}

    def read(value: Any) -> Any:
        try:
            return seen[value]
        except KeyError:
            try:
                seen[value] = made = target.to_python(value)
            except ValidationError:  # an altered entry: no column can hold it, so none is equal to it
                made = f"unreadable: {value}"
            return made

    return read
