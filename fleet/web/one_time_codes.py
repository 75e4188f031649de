"""The second factor: a code of six digits that a telephone works out anew every half minute (RFC 6238).

Its secret is stored nowhere. It is an HMAC-SHA-256 by the site's own key over the account and a salt of its
own, so the database, its backups and the exports hold a salt alone, of no use to whoever has not the key. A
site with another key works out another secret: `key_mark` tells, and the second factor is set up anew.
"""

import base64
import datetime as dt
import hmac
import secrets
import unicodedata

import pyotp
from django.utils.crypto import salted_hmac

# 160 bits, as RFC 4226 (section 4, R6) recommends.
SECRET_BYTES = 20
SALT_BYTES = 16
DIGITS = 6
# A telephone's clock may be a step (30 s) off (RFC 6238, section 5.2).
STEPS_OFF = 1


def new_salt() -> str:
    """A salt for one setting up, by chance."""
    return secrets.token_hex(SALT_BYTES)


def key_mark() -> str:
    """By which key of the site secrets are worked out; tells nothing of the key."""
    return salted_hmac("fleet.second factor.mark", "", algorithm="sha256").hexdigest()[:16]


def secret_of(account_id: int, salt: str) -> str:
    """The secret in base 32, as a telephone takes it."""
    made = salted_hmac("fleet.second factor", f"{account_id}:{salt}", algorithm="sha256").digest()
    return base64.b32encode(made[:SECRET_BYTES]).decode("ascii")


def address_of(secret: str, username: str) -> str:
    """What the QR code says to the telephone."""
    return pyotp.TOTP(secret).provisioning_uri(name=username, issuer_name="Clearance ledger")


def read_code(typed: str) -> str:
    """A code as typed, with spaces or in wide digits; empty where it is not six digits.

    Examples
    --------
    >>> read_code(" 123 456 ")
    '123456'
    """
    bare = "".join(unicodedata.normalize("NFKC", typed).split())
    return bare if bare.isascii() and bare.isdecimal() and len(bare) == DIGITS else ""


def step_of(secret: str, code: str, at: dt.datetime, *, after: int = -1) -> int | None:
    """The step (30 s since 1970) whose code this is, now or a step off; None where it is none, or none after
    `after`.

    Every step is looked at, and codes are compared in constant time.

    Source
    ------
    RFC 6238, sections 4 and 5.2: a code is taken once only.
    """
    reader = pyotp.TOTP(secret, digits=DIGITS)
    steps = [
        step
        for step in range(reader.timecode(at) - STEPS_OFF, reader.timecode(at) + STEPS_OFF + 1)
        if hmac.compare_digest(reader.generate_otp(step), code)
    ]
    return next((step for step in steps if step > after), None)
