"""What stands beside the ledger, held against what entries commit to or worked out anew; and what nothing
covers.

Each look answers with what it looked at, how much of it, and a sentence for each fault. An app adds its own
in `ready()`.
"""

import json
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fleet.ledger.canonical import sha256_of
from fleet.ledger.commitments import (
    ACCOUNT,
    NAME,
    ROWS,
    SEALED,
    SET_UP,
    TAKEN_AWAY,
    UNSEALED,
    account_hash,
    factor_hash,
    name_hash,
    rows_hash,
)
from fleet.ledger.guard import missing_guards
from fleet.ledger.kinds import all_kinds
from fleet.models import Account, Entry, Person, SheetRow, StoredFile
from fleet.registry import ByName, InOrder

CHUNK = 5000


@dataclass
class Look:
    """One kind of thing: in words, how many, and what is wrong."""

    what: str
    n: int = 0
    faults: list[str] = field(default_factory=list)


# What no entry commits to, in words, with the tables ("fleet_job") or columns ("fleet_account.password") that
# it is; an app adds its own.
NOT_COVERED = ByName[tuple[str, ...]]("thing that no check covers")
NOT_COVERED.add(
    "passwords (that one was set anew is recorded, the password is not)",
    ("fleet_account.password", "fleet_account.must_change_password"),
)
NOT_COVERED.add(
    "sessions, tries at signing in and what accounts were told (notices)",
    (
        "django_session",
        "axes_accessattempt",
        "axes_accessattemptexpiration",
        "axes_accessfailurelog",
        "axes_accesslog",
        "fleet_notice",
        "fleet_account.last_login",
        "fleet_account.code_step",
        "fleet_account.wrong_codes",
        "fleet_account.wrong_codes_since",
        "fleet_account.has_notices",
    ),
)
NOT_COVERED.add("files and sheets on their way in, before they are imported", ("fleet_draft",))
NOT_COVERED.add("jobs and how often an account asked for costly pages", ("fleet_job", "fleet_costlyrequest"))
NOT_COVERED.add(
    "which of two entries on different chains was written first (on one chain it is looked at), and numbers"
    " that only tell rows apart",
    ("fleet_entry.id", "fleet_seal.id", "fleet_sheetrow.id", "inspections_forecast.id"),
)
NOT_COVERED.add(
    "on which day a name or a file first came",
    ("fleet_person.created_at", "fleet_storedfile.stored_at"),
)
NOT_COVERED.add(
    "tables that the framework keeps and no page reads",
    ("auth_permission", "auth_group", "auth_group_permissions", "django_content_type"),
)
LOOKS = InOrder[Callable[[], Look]]()


def look_beside() -> list[Look]:
    """Everything that stands beside the ledger, looked at once."""
    return [look() for look in (triggers, names, accounts, second_factors, files, sheet_rows, *LOOKS)]


def triggers() -> Look:
    """The database's own refusal to change an entry or a seal."""
    missing = missing_guards()
    faults = [
        f"{table}: the database does not refuse changes; run manage.py migrate, and find out who took that"
        " away."
        for table in missing
    ]
    return Look("the database's own refusal to change entries and seals", 2 - len(missing), faults)


def bodies_of(kind: str) -> Iterator[dict[str, Any]]:
    """The bodies of the entries of a kind, in the order of their chains."""
    rows = Entry.objects.filter(kind=kind).order_by("chain", "n").values_list("text", flat=True)
    for text in rows.iterator(chunk_size=CHUNK):
        try:
            body = json.loads(text)["body"]
        except (ValueError, KeyError, TypeError):  # an altered entry, told with the chains
            continue
        if isinstance(body, dict):
            yield body


def _last(kind: str, key: str = "id") -> dict[str, dict[str, Any]]:
    return {str(body.get(key)): body for body in bodies_of(kind)}


def names() -> Look:
    """Every person's name and employer against the last hash recorded of it; one taken
    out by law is blank.
    """
    said, blanked, look = _last(NAME), set(_last("name_blanked", "person")), Look("names of people")
    for person in Person.objects.order_by().iterator(chunk_size=CHUNK):
        look.n += 1
        body = said.pop(str(person.pk), None)
        if str(person.pk) in blanked:
            if person.name or person.folded or person.employer or person.salt:
                look.faults.append(
                    f"person {person.pk}: the name was taken out, and one, or the salt to try names by,"
                    " stands there again."
                )
        elif body is None:
            look.faults.append(f"person {person.pk}: a person whose name no entry stands for.")
        elif body.get("hash") != name_hash(person):
            look.faults.append(f"person {person.pk}: the name or employer was changed without an entry.")
    look.faults += [f"person {pk}: the entry is there, the person is not." for pk in said]
    return look


def accounts() -> Look:
    """Every account's sign-in name, person and whether it is open, against the last state recorded."""
    said, look = _last(ACCOUNT), Look("accounts: whose, by which sign-in name, open or closed")
    salts = dict(Person.objects.values_list("pk", "salt"))
    for account in Account.objects.order_by().iterator(chunk_size=CHUNK):
        look.n += 1
        body = said.pop(str(account.person_id), None)
        if body is None:
            look.faults.append(f"account of person {account.person_id}: no entry stands for it.")
        elif body.get("hash") != account_hash(account, salts.get(account.person_id, "")):
            look.faults.append(
                f"account of person {account.person_id}: its name, its person or whether it is open was"
                " changed without an entry."
            )
    look.faults += [f"account of person {pk}: the entry is there, the account is not." for pk in said]
    return look


def second_factors() -> Look:
    """Whether each account has a second factor, and whether the break-glass account is sealed, as last
    recorded.
    """
    look, said = Look("second factors, and the break-glass account's seal"), {}
    for body in bodies_of(ACCOUNT):
        if body.get("what") in (SET_UP, TAKEN_AWAY, SEALED, UNSEALED):
            said[str(body.get("id"))] = body
    for account in Account.objects.order_by().iterator(chunk_size=CHUNK):
        look.n += 1
        body = said.get(str(account.person_id), {})
        last = body.get("what")
        if bool(account.code_salt) != (last == SET_UP):
            is_there = "has a second factor" if account.code_salt else "has no second factor"
            look.faults.append(
                f"account of person {account.person_id}: it {is_there}, the record says otherwise."
            )
        elif _is_anothers(account, body):
            look.faults.append(f"account of person {account.person_id}: its second factor is another's.")
        if account.is_sealed != (last in (SEALED, UNSEALED)):
            look.faults.append(f"account of person {account.person_id}: its seal is not as recorded.")
    return look


def _is_anothers(account: Account, body: dict[str, Any]) -> bool:
    """Whether a second factor is not the one that was set up; entries of old do not say by which salt."""
    if not account.code_salt:
        return bool(account.code_key)
    return "factor" in body and bool(body["factor"] != factor_hash(account))


def files() -> Look:
    """Every kept file's bytes, hashed anew: sheets, certificates and photos are named by that hash in
    entries.
    """
    look = Look("kept files, by their bytes")
    for file in StoredFile.objects.order_by().iterator(chunk_size=20):
        look.n += 1
        if sha256_of(bytes(file.data)) != file.sha256 or len(file.data) != file.size:
            look.faults.append(f"file {file.sha256[:12]}: its bytes are not those that were kept.")
    there = set(StoredFile.objects.values_list("pk", flat=True))
    for model in (known.model for known in all_kinds() if known.model):
        for column in model._meta.concrete_fields:
            if column.related_model is StoredFile:
                named = model._base_manager.exclude(**{column.attname: None}).values_list(
                    column.attname, flat=True
                )
                gone = sorted(set(named) - there)
                look.faults += [f"file {name[:12]}: an entry names it, and it is not there." for name in gone]
    return look


def sheet_rows() -> Look:
    """By what the rows of imported sheets are known when they come again, against the hash recorded with the
    import.
    """
    look = Look("by what imported rows are known again")
    there: dict[UUID, list[tuple[Any, ...]]] = defaultdict(list)
    rows = SheetRow.objects.order_by().values_list("sheet_id", "number", "site", "key", "digest")
    for sheet, *row in rows.iterator(chunk_size=CHUNK):
        look.n += 1
        there[sheet].append(tuple(row))
    withdrawn = {str(body.get("sheet")) for body in bodies_of("import_withdrawal")}
    for said, body in _last(ROWS).items():
        found = there.pop(UUID(said), [])
        if rows_hash(found) != body.get("hash") and (found or said not in withdrawn):
            look.faults.append(f"sheet {said}: by what its rows are known again was changed.")
    look.faults += [f"sheet {sheet}: rows are known of it that no entry stands for." for sheet in there]
    return look
