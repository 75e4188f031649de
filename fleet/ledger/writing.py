"""Appending entries: bodies made canonical first, then chains locked in order, numbered, hashed and inserted
at once.
"""

import datetime
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from django.db import connection, transaction

from fleet import bulk
from fleet.clock import recorded_now
from fleet.ledger import kinds
from fleet.ledger.bounds import must_fit
from fleet.ledger.canonical import GENESIS, canonical_of, entry_text, plain, sha256
from fleet.models.ledger import Chain, Entry
from fleet.models.recorded import Recorded


@dataclass(frozen=True)
class Fact:
    """One thing to record: a new row on a chain (`row`), or a change of rows (`kind` with a `body`)."""

    chain: str
    kind: str
    row: Recorded | None = None
    body: dict[str, Any] | None = None


def write(facts: Sequence[Fact], *, by: uuid.UUID, act: uuid.UUID | None = None) -> uuid.UUID:
    """Append facts to their chains as one act and write their typed rows, in one transaction.

    Parameters
    ----------
    facts : sequence of Fact
        in the order in which they happened to be given; it is the order within each chain.
    by : UUID
        the inner id of the person who records.
    act : UUID, optional
        given where one act is written in several calls of one transaction.

    Returns
    -------
    UUID
        the act's id, standing in all its entries.

    Raises
    ------
    LookupError
        for a kind nobody registered.
    django.db.IntegrityError
        when a row breaks a constraint, or (`OutOfBounds`) would not fit into either database; nothing is
        stored then.
    """
    act = act or uuid.uuid4()
    known = [kinds.kind(fact.kind) for fact in facts]
    bodies = [
        plain(fact.body if fact.row is None else kinds.body_of(fact.row, of))
        for fact, of in zip(facts, known, strict=True)
    ]
    for fact, body in zip(facts, bodies, strict=True):
        must_fit(fact.kind, body)
    texts = [canonical_of(body) for body in bodies]
    with transaction.atomic():
        chains = _lock({fact.chain for fact in facts})
        instant = recorded_now()
        stamps = _append(facts, texts, bodies, chains, act=act, by=by, instant=instant)
        _move_heads(chains.values())
        project(list(zip(known, bodies, stamps, strict=True)))
    return act


def project(said: Sequence[tuple[kinds.Kind, kinds.Body, kinds.Stamp]]) -> None:
    """Write what entries say into the typed rows, runs of one kind together, in their order."""
    for known, run in groupby(said, key=lambda item: item[0]):
        items = [(body, stamp) for _, body, stamp in run]
        if known.apply:
            known.apply(items)
        elif known.model:
            bulk.insert_columns(known.model, kinds.columns_of(items, known))


def _lock(names: set[str]) -> dict[str, Chain]:
    """The chains of these names, made where new, locked in the order of their names so that no two writers
    wait on each other.
    """
    Chain.objects.bulk_create(
        [Chain(id=name, n=0, head=GENESIS) for name in sorted(names)], ignore_conflicts=True, batch_size=300
    )
    found: dict[str, Chain] = {}
    ordered = sorted(names)
    for start in range(0, len(ordered), 500):
        some = Chain.objects.select_for_update().filter(id__in=ordered[start : start + 500]).order_by("id")
        found.update({chain.id: chain for chain in some})
    return found


def _move_heads(chains: Iterable[Chain]) -> None:
    with connection.cursor() as cursor:
        cursor.executemany(
            f"UPDATE {Chain._meta.db_table} SET n = %s, head = %s WHERE id = %s",
            [(chain.n, chain.head, chain.id) for chain in chains],
        )


def _append(
    facts: Sequence[Fact],
    texts: Sequence[str],
    bodies: Sequence[dict[str, Any]],
    chains: dict[str, Chain],
    *,
    act: uuid.UUID,
    by: uuid.UUID,
    instant: datetime.datetime,
) -> list[kinds.Stamp]:
    """Number, link and hash the entries, and insert them; the chains are moved on."""
    columns: dict[str, list[Any]] = {name: [] for name in ("chain", "n", "kind", "thing", "text", "hash")}
    stamps = []
    said = {"act": str(act), "by": str(by), "recorded_at": plain(instant)}
    for fact, text, body in zip(facts, texts, bodies, strict=True):
        chain = chains[fact.chain]
        chain.n += 1
        whole = entry_text(
            body=text, chain=chain.id, format=kinds.FORMAT, kind=fact.kind, n=chain.n, prev=chain.head, **said
        )
        chain.head = sha256(whole)
        thing = body.get("id")
        row = (chain.id, chain.n, fact.kind, uuid.UUID(thing) if thing else None, whole, chain.head)
        for column, value in zip(columns.values(), row, strict=True):
            column.append(value)
        stamps.append(kinds.Stamp(chain.id, chain.n, act, by, instant))
    same = {"act": act, "by": by, "recorded_at": instant, "format": kinds.FORMAT}
    bulk.insert_columns(Entry, columns | {name: [value] * len(stamps) for name, value in same.items()})
    return stamps
