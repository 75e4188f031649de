"""What an entry holds of things that stand beside the ledger: a hash, so that a change behind the site's back
shows.

Names and sign-in names are hashed with a salt that is kept beside the name and goes when the name is taken
out; without it nobody can try names against the hash.
"""

import secrets
from collections.abc import Iterable, Sequence
from typing import Any

from fleet.ledger.canonical import canonical, sha256

SALT_BYTES = 16
NAME, ACCOUNT, ROWS = "name_commitment", "account_state", "sheet_rows"
# What was done to an account, in the words that its entry holds.
SET_UP, TAKEN_AWAY = "second factor set up", "second factor reset"
SEALED, UNSEALED = "break-glass account sealed", "break-glass account used"


def new_salt() -> str:
    """A salt for one person, by chance."""
    return secrets.token_hex(SALT_BYTES)


def name_hash(person: Any) -> str:
    """SHA-256 over a person's id, salt, name and employer."""
    said = {
        "person": person.id,
        "salt": person.salt,
        "name": person.name,
        "folded": person.folded,
        "employer": person.employer,
    }
    return sha256(canonical(said))


def account_hash(account: Any, salt: str) -> str:
    """SHA-256 over whom an account stands for, its sign-in name and whether it is open; the password is no
    part of it.
    """
    said = {
        "account": account.pk,
        "person": account.person_id,
        "salt": salt,
        "username": account.username,
        "open": account.is_active,
    }
    return sha256(canonical(said))


def name_body(person: Any) -> dict[str, Any]:
    """What the entry of a name says."""
    return {"id": person.id, "hash": name_hash(person)}


def account_body(account: Any, salt: str, what: str) -> dict[str, Any]:
    """What the entry of an account says: whose, what was done, and the state it left; of a second factor set
    up, the hash of what it is worked out from.
    """
    body = {"id": account.person_id, "what": what, "hash": account_hash(account, salt)}
    return body | {"factor": factor_hash(account)} if what == SET_UP else body


def factor_hash(account: Any) -> str:
    """SHA-256 over the salt of an account's second factor and by which key of the site it is."""
    said = {"account": account.pk, "salt": account.code_salt, "key": account.code_key}
    return sha256(canonical(said))


def rows_hash(rows: Iterable[Sequence[Any]]) -> str:
    """SHA-256 over the rows of a sheet: number, site, key and digest of each, in any order."""
    return sha256(canonical([list(row) for row in sorted(rows, key=lambda row: (row[0], row[2]))]))


def rows_body(sheet: Any, rows: Sequence[Sequence[Any]]) -> dict[str, Any]:
    """What the entry of a sheet's rows says."""
    return {"id": sheet, "n": len(rows), "hash": rows_hash(rows)}
