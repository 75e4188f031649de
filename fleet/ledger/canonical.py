"""Canonical bytes and hashes (RFC 8785 text, SHA-256, RFC 6962 tree). Plain arithmetic, no database.

Sources: RFC 8785 (JSON Canonicalization Scheme) through the package `rfc8785`; RFC 6962 section 2.1 (Merkle
tree hash).
"""

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Any
from uuid import UUID

import rfc8785

GENESIS = "0" * 64
_ENCODER = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def plain(value: Any) -> Any:
    """Return `value` as JSON without floats: measured values as decimal strings, days and instants as ISO
    text.

    Parameters
    ----------
    value : str, int, bool, None, Decimal, date, datetime (UTC), UUID, or a list or dict of these

    Raises
    ------
    TypeError
        for a float or any other type: a float has no one decimal text.

    Examples
    --------
    >>> plain({"clearance_um": Decimal("152.4000"), "on": dt.date(2026, 3, 9)})
    {'clearance_um': '152.4000', 'on': '2026-03-09'}
    """
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    raise TypeError(
        f"{type(value).__name__} has no canonical text here; give text, whole numbers, Decimal or dates."
    )


def canonical(value: Any) -> str:
    """RFC 8785 text of a value made of what `plain` takes; refuses text that is no Unicode (lone surrogates).

    Without floats, and with names of ASCII letters, the standard library's own encoder writes the very same
    text twelve times faster; whatever else is written by the package `rfc8785`.
    """
    return canonical_of(plain(value))


def canonical_of(said: Any) -> str:
    """`canonical` of what `plain` has given already."""
    text = _ENCODER.encode(said) if _is_simple(said) else rfc8785.dumps(said).decode("utf-8")
    text.encode("utf-8")  # a lone surrogate has no bytes to hash
    return text


def canonical_bytes(value: Any) -> bytes:
    """RFC 8785 bytes of any JSON, floats among it, which `canonical` refuses: figures and parameters of a
    forecast.

    Raises
    ------
    rfc8785.CanonicalizationError
        for what JSON cannot hold: NaN, an infinite number, a whole number beyond 2**53 - 1, another type.

    Examples
    --------
    >>> canonical_bytes({"um": 2.50, "n": 1})
    b'{"n":1,"um":2.5}'
    """
    return rfc8785.dumps(value)


def canonical_hash(value: Any) -> str:
    """SHA-256 of `canonical_bytes`, as 64 hex digits: by it an entry names figures that it does not hold
    itself.
    """
    return sha256_of(canonical_bytes(value))


def _is_simple(said: Any) -> bool:
    """Whether names sort alike as Unicode and as UTF-16, and numbers are whole and exact in any reader."""
    if isinstance(said, dict):
        return all(map(str.isascii, said)) and all(map(_is_simple, said.values()))
    if isinstance(said, list):
        return all(map(_is_simple, said))
    return not isinstance(said, int) or -(2**53) < said < 2**53


def sha256(text: str) -> str:
    """SHA-256 of the text's UTF-8 bytes, as 64 hex digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def sha256_of(data: bytes) -> str:
    """SHA-256 of bytes, as 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def entry_text(
    *, act: str, body: str, by: str, chain: str, format: int, kind: str, n: int, prev: str, recorded_at: str
) -> str:
    """The canonical text of an entry whose `body` is canonical already, in RFC 8785's order of keys."""
    before, behind = entry_frame(
        act=act, by=by, chain=chain, format=format, kind=kind, n=n, prev=prev, recorded_at=recorded_at
    )
    return before + body + behind


def entry_frame(
    *, act: str, by: str, chain: str, format: int, kind: str, n: int, prev: str, recorded_at: str
) -> tuple[str, str]:
    """What stands before and behind the body in an entry's canonical text.

    Only the chain's name and the kind are escaped anew; the rest is hex, digits or ISO text.
    """
    return f'{{"act":"{act}","body":', (
        f',"by":"{by}","chain":{_quoted(chain)},"format":{format},"kind":{_quoted(kind)},"n":{n},'
        f'"prev":"{prev}","recorded_at":"{recorded_at}"}}'
    )


_quoted = lru_cache(maxsize=4096)(json.dumps)


def leaf_hash(leaf: bytes) -> bytes:
    """RFC 6962 2.1: SHA-256 of 0x00 and the leaf."""
    return hashlib.sha256(b"\x00" + leaf).digest()


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """RFC 6962 2.1: the Merkle tree hash of the leaves, in their order; of none, SHA-256 of nothing.

    Examples
    --------
    >>> tree_root([]).hex()[:16]
    'e3b0c44298fc1c14'
    """
    if not leaves:
        return hashlib.sha256(b"").digest()
    # The left subtree of RFC 6962 is always a full power of two, so pairing level by level gives the same
    # root.
    level = [leaf_hash(leaf) for leaf in leaves]
    while len(level) > 1:
        level = _level_above(level)
    return level[0]


def audit_path(leaves: Sequence[bytes], index: int) -> list[bytes]:
    """RFC 6962 2.1.1: the hashes beside the way from the leaf at `index` to the root, the lowest first.

    Raises
    ------
    IndexError
        for an index that no leaf has.

    Examples
    --------
    >>> audit_path([b"only one"], 0)
    []
    """
    if not 0 <= index < len(leaves):
        raise IndexError(f"leaf {index} of {len(leaves)}")
    level, at, path = [leaf_hash(leaf) for leaf in leaves], index, []
    while len(level) > 1:
        if at ^ 1 < len(level):
            path.append(level[at ^ 1])
        level = _level_above(level)
        at //= 2
    return path


def root_by_path(leaf: bytes, index: int, size: int, path: Sequence[str]) -> str | None:
    """The root, as hex, that a leaf and its audit path lead to (RFC 9162, 2.1.3.2); None where the path does
    not fit.

    Examples
    --------
    >>> leaves = [b"a", b"b", b"c"]
    >>> way = [step.hex() for step in audit_path(leaves, 2)]
    >>> root_by_path(b"c", 2, 3, way) == tree_root(leaves).hex()
    True
    """
    at, last, found = index, size - 1, leaf_hash(leaf)
    for step in map(bytes.fromhex, path):
        if last == 0:
            return None
        if at % 2 or at == last:
            found = hashlib.sha256(b"\x01" + step + found).digest()
            while not at % 2 and at:
                at, last = at // 2, last // 2
        else:
            found = hashlib.sha256(b"\x01" + found + step).digest()
        at, last = at // 2, last // 2
    return found.hex() if last == 0 and 0 <= index < size else None


def _level_above(level: Sequence[bytes]) -> list[bytes]:
    paired = [hashlib.sha256(b"\x01" + level[i] + level[i + 1]).digest() for i in range(0, len(level) - 1, 2)]
    return [*paired, *level[-1:]] if len(level) % 2 else paired
