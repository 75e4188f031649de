"""What every act on the plant goes through: a new row recorded on its chain, a row withdrawn or revised, each
with a reason.

`record` puts many new rows on the right chains in one write; what the record refuses is said in its
constraint's own words.
"""

import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.db import IntegrityError, transaction

from fleet import models
from fleet.ledger.refusals import sentence_of
from fleet.ledger.writing import Fact, write
from fleet.models import (
    Name,
    Recorded,
)

COMMAND_LINE = "command line"
PLANT = "plant"


class Refused(ValueError):
    """An act that cannot be done; the text says what was found, what is allowed and what to do."""


def _at_site(row: Any) -> str:
    return f"site:{row.site_id}" if row.site_id else PLANT


def _at_bearing(row: Any) -> str:
    return f"bearing:{row.bearing_id}" if row.bearing_id else PLANT


def _at_machine(row: Any) -> str:
    return f"pump:{row.machine_id}"


def _named(row: Name) -> str:
    if row.of == Name.Of.BEARING:
        return f"bearing:{row.thing}"
    return f"site:{row.thing}" if row.of == Name.Of.SITE else _at_site(row)


# What each row is called in the ledger and on which chain it stands (record.md, Chains).
KINDS: dict[type[Recorded], tuple[str, Callable[[Any], str]]] = {
    models.Site: ("site", lambda row: f"site:{row.id}"),
    models.Outage: ("outage", _at_site),
    models.Place: ("place", _at_site),
    models.PlaceFacts: ("place_facts", lambda row: _at_site(row.place)),
    models.PlannedDuty: ("planned_duty", lambda row: _at_site(row.place)),
    models.Machine: ("machine", lambda row: f"pump:{row.id}"),
    models.Installation: ("installation", _at_machine),
    # A rotor travels between machines, so it stands on no machine's chain; nor does a shell on a bearing's.
    models.Rotor: ("rotor", lambda row: PLANT),
    models.RotorFitting: ("rotor_fitting", _at_machine),
    models.Journal: ("journal", lambda row: PLANT),
    models.JournalDiameter: ("journal_diameter", lambda row: PLANT),
    models.WearClass: ("wear_class", lambda row: PLANT),
    models.Bearing: ("bearing", lambda row: f"bearing:{row.id}"),
    models.BearingFacts: ("bearing_facts", _at_bearing),
    models.Limit: ("limit", _at_bearing),
    models.ProposedLimit: ("proposed_limit", _at_bearing),
    models.Confirmation: ("confirmation", _at_bearing),
    models.ShellHalf: ("shell_half", lambda row: PLANT),
    models.ShellFitting: ("shell_fitting", _at_bearing),
    models.ShellState: ("shell_state", lambda row: PLANT),
    models.Spare: ("spare", _at_site),
    models.WorkHours: ("work_hours", lambda row: PLANT),
    models.Name: ("name", _named),
    models.Role: ("role", _at_site),
    models.Instrument: ("instrument", lambda row: PLANT),
    models.Calibration: ("calibration", lambda row: PLANT),
    models.Setting: ("setting", _at_site),
}


def record(rows: Iterable[Recorded], *, by: uuid.UUID, act: uuid.UUID | None = None) -> uuid.UUID:
    """Write new rows, each on its chain, in one act; kind by kind, so that each table is filled at once.

    Raises
    ------
    Refused
        when the record refuses a row, with the constraint's own sentence; nothing is stored then.
    """
    return _write(kind_by_kind([fact_of(row) for row in rows]), by=by, act=act)


def kind_by_kind(facts: Iterable[Fact]) -> list[Fact]:
    """Facts of one act with those of a kind together, what others point to first, changes of rows last."""
    order = {kind: n for n, (kind, _) in enumerate(KINDS.values())}
    return sorted(facts, key=lambda fact: order.get(fact.kind, len(order)))


def fact_of(row: Recorded) -> Fact:
    """The fact that a new row stands for, on its chain."""
    kind, chain = KINDS[type(row)]
    return Fact(chain(row), kind, row=row)


def withdraw(row: Recorded, *, reason: str, by: uuid.UUID, act: uuid.UUID | None = None) -> uuid.UUID:
    """Take a row back; it stays to be seen, marked with this act. Retiring a pump, a shell or a limit is this
    too.
    """
    return _write([withdrawal_of(row, reason=reason)], by=by, act=act)


def withdrawal_of(row: Recorded, *, reason: str) -> Fact:
    """The fact that takes a row back."""
    body = {"of": _kind_of(row), "id": row.id, "reason": _because(reason)}
    return Fact(row.chain, "withdrawal", body=body)


def revise(
    row: Recorded, values: Mapping[str, Any], *, reason: str, by: uuid.UUID, act: uuid.UUID | None = None
) -> uuid.UUID:
    """Give a row other values (by column name); the ledger keeps the ones before."""
    return _write([revision_of(row, values, reason=reason)], by=by, act=act)


def revision_of(row: Recorded, values: Mapping[str, Any], *, reason: str) -> Fact:
    """The fact that gives a row other values."""
    body = {"of": _kind_of(row), "id": row.id, "set": dict(values), "reason": _because(reason)}
    return Fact(row.chain, "revision", body=body)


def _kind_of(row: Recorded) -> str:
    return KINDS[type(row)][0]


def _because(reason: str) -> str:
    if not reason.strip():
        raise Refused(
            "No reason was given. Say in a few words why, so that the record can be understood later."
        )
    return reason.strip()


def _write(facts: Sequence[Fact], *, by: uuid.UUID, act: uuid.UUID | None) -> uuid.UUID:
    try:
        with transaction.atomic():
            return write(facts, by=by, act=act)
    except IntegrityError as error:
        raise Refused(sentence_of(error)) from error


def _filled(text: str, what: str) -> str:
    bare = " ".join(text.split())
    if not bare:
        raise Refused(f"The {what} is empty. Give it.")
    return bare
