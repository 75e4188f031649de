"""Alterations of any cell or row of any table of the site, found or not; a part of `tests.bench.tamper`."""

import json
import random
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import count
from typing import Any

from django.db import DataError, IntegrityError, connection, models, transaction

from fleet.ledger import kinds
from fleet.ledger.canonical import canonical, plain
from fleet.ledger.outside_seals import compared, read_paper
from fleet.ledger.verify import verify
from fleet.models import Entry
from fleet.models.recorded import Recorded
from tests.every_table import CELLS, ROWS, Alteration, Undo, alter, columns, is_covered, tables, try_together
from tests.fleet.ledger.story import guards_lifted

EVERY = 3  # the tables beside the typed ones are altered one by one, so not in every round


@dataclass
class Counts:
    """By table: alterations made and found, those made to fit with all hashes written anew and found; how
    many the database refused; and which were missed.
    """

    made: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    fitted: Counter[str] = field(default_factory=Counter)
    fitted_found: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    missed: set[str] = field(default_factory=set)

    def take(self, tried: list[Alteration]) -> None:
        """Count what was tried."""
        for what in tried:
            name = what.model._meta.db_table
            if what.key is None:
                self.refused += 1
                continue
            self.made[name] += 1
            self.found[name] += what.is_found
            if not what.is_found:
                self.missed.add(what.place)


def alterations(n: int, rng: random.Random, kept: dict[str, Any], write_anew: Callable[[], None]) -> Counts:
    """So many, over every column and row of every covered table: of the typed tables one of each at a time,
    each to be named by the key of its row; of the others one at a time. After every second round of typed
    tables somebody also writes their entries, all hashes and seals anew so that they fit: then the chain of
    each must be named by the seal kept outside.
    """
    counts, paper = Counts(), read_paper(json.dumps(kept), "kept.json")
    by_model = {model: _wanted(rng, model) for model in tables() if is_covered(model)}
    typed = [model for model in by_model if issubclass(model, Recorded)]

    def look() -> list[str]:
        return verify().faults + compared("kept.json", paper)

    for number in count():
        if counts.made.total() + counts.fitted.total() >= n:
            return counts
        together = [next(by_model[model]) for model in typed]
        if number % 2:
            _fitted(rng, together, counts, write_anew, lambda: compared("kept.json", paper))
        else:
            try_together(rng, together)
            counts.take(together)
        for model in by_model.keys() - set(typed) if number % EVERY == 0 else ():
            alone = [next(by_model[model])]
            try_together(rng, alone, look)
            counts.take(alone)
    raise AssertionError("count() ends never")


def _wanted(rng: random.Random, model: type[models.Model]) -> Iterator[Alteration]:
    fields = [column for column in model._meta.concrete_fields if is_covered(model, column)]
    ways = [(column, way) for column in fields for way in CELLS] + [(None, way) for way in ROWS]
    while True:
        rng.shuffle(ways)
        for column, way in ways:
            yield Alteration(model, column, way)


def _fitted(
    rng: random.Random,
    together: list[Alteration],
    counts: Counts,
    write_anew: Callable[[], None],
    look: Callable[[], list[str]],
) -> None:
    """Cells altered, and their entries, all hashes, heads and seals written anew."""
    try:
        with transaction.atomic():
            with guards_lifted():
                fits = [what for what in together if _fit(rng, what)]
                write_anew()
            said = " ".join(look())
            for what in fits:
                name = what.model._meta.db_table
                chain = what.model._base_manager.values_list("chain", flat=True).get(pk=what.key)
                counts.fitted[name] += 1
                counts.fitted_found[name] += f"{chain} " in said or f"{chain}:" in said
            raise Undo
    except Undo:
        pass


def _fit(rng: random.Random, what: Alteration) -> bool:
    """Alter a cell and its entry; False where that cannot be done, or not by this."""
    known = next(known for known in kinds.all_kinds() if known.model is what.model)
    if what.field is None or what.field.primary_key or what.field.name in Recorded.STAMPS:
        return False
    try:
        with transaction.atomic():
            what.key = alter(rng, what.model, what.field, what.way)
            if what.key is None:
                return False
            row = what.model._base_manager.get(pk=what.key)
            assert isinstance(row, Recorded)
            entry = Entry.objects.get(chain=row.chain, n=row.entry_n)
            said = json.loads(entry.text) | {"body": plain(kinds.body_of(row, known))}
            Entry.objects.filter(pk=entry.pk).update(text=canonical(said))
    except (IntegrityError, DataError, TypeError):  # refused, or a float in JSON, which no entry can hold
        return False
    return True


def uncovered(rng: random.Random) -> tuple[int, int, list[str]]:
    """One alteration of each column that the list names as not covered: made, found, and the columns."""
    tried = [
        Alteration(model, column, CELLS[0]) for model, column in columns() if not is_covered(model, column)
    ]
    for what in tried:
        try_together(rng, [what])
    made = [what for what in tried if what.key is not None]
    return len(made), sum(what.is_found for what in made), [what.place for what in tried]


def told(counts: Counts, seconds: float) -> None:
    """Print the table."""
    made, fitted = counts.made.total(), counts.fitted.total()
    n_columns = sum(is_covered(model, column) for model, column in columns())
    print(
        f"{made + fitted} alterations of {n_columns} columns of {sum(map(is_covered, tables()))} tables on"
        f" {connection.vendor}, {seconds:.0f} s; {counts.refused} more the database refused, or nothing else"
        " could stand there\n"
    )
    print("| table | altered | found | made to fit, under the kept seal | found |")
    print("| --- | --- | --- | --- | --- |")
    for name in sorted({*counts.made, *counts.fitted}):
        cells = (counts.made[name], counts.found[name], counts.fitted[name], counts.fitted_found[name])
        print(f"| {name} | " + " | ".join(map(str, cells)) + " |")
    sums = (made, counts.found.total(), fitted, counts.fitted_found.total())
    print("| all | " + " | ".join(map(str, sums)) + " |\n")
    for name in sorted(counts.missed):
        print(f"missed: {name}")
