"""Seals that leave the house: the paper of one, a paper that comes back held against the record, who took
which along.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Q

from fleet.ledger.canonical import canonical, root_by_path, sha256
from fleet.ledger.seal import root_of
from fleet.models.ledger import Entry, Seal

AT_ONCE = 200
# The kind of entry that tells who took a seal out: {"seal": n, "hash": of it, "how": "downloaded" or
# "mailed"}.
TAKEN = "seal_taken"
DOWNLOADED, MAILED = "downloaded", "mailed"


@dataclass(frozen=True)
class Paper:
    """A seal as it was handed out: its text, its hash, and the leaves that the paper itself shows to be under
    its root.
    """

    seal: dict[str, Any]
    hash: str
    leaves: list[dict[str, Any]]

    @property
    def n(self) -> int:
        return int(self.seal["n"])


def paper_of(seal: Seal) -> str:
    """The seal with the leaves of all chains as they were sealed: what leaves the house."""
    return canonical({"hash": seal.hash, "leaves": leaves_at(seal.n), "seal": seal.text}) + "\n"


def leaves_at(n: int) -> list[dict[str, Any]]:
    """Every chain's leaf as it was at seal no. n, in the order of their names."""
    sealed: dict[str, dict[str, Any]] = {}
    for text in Seal.objects.filter(n__lte=n).order_by("n").values_list("text", flat=True):
        sealed |= {leaf["chain"]: leaf for leaf in json.loads(text)["changed"]}
    return [sealed[name] for name in sorted(sealed)]


def read_paper(data: str | bytes, name: str) -> Paper:
    """A seal kept outside, which must fit together itself: what `seal --out` or a page gave, or a bundle's
    seal.json.

    Raises
    ------
    ValueError
        for what is no seal, or one that was changed.
    """
    try:
        said = json.loads(data)
        seal, leaves = json.loads(said["seal"]), said["leaves"]
        if "size" in said:
            fits = all(
                root_by_path(canonical(one["leaf"]).encode(), one["index"], said["size"], one["path"])
                == seal["root"]
                for one in leaves
            )
            leaves = [one["leaf"] for one in leaves]
        else:
            fits = root_of(leaves) == seal["root"]
        fits = fits and sha256(said["seal"]) == said["hash"]
        paper = Paper(
            seal, str(said["hash"]), [{k: leaf[k] for k in ("chain", "n", "head")} for leaf in leaves]
        )
        int(seal["n"]), str(seal["sealed_at"])
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise ValueError(
            f"{name} is no seal. Give the file of a seal that was taken along here or written by `manage.py"
            " seal --out`, or the seal.json of a bundle."
        ) from None
    if not fits:
        raise ValueError(f"{name} was changed since it was handed out: it does not fit together.")
    return paper


def compared(name: str, paper: Paper) -> list[str]:
    """Where the record no longer holds what a seal kept outside says; a sentence each."""
    faults = []
    if not Seal.objects.filter(n=paper.n, hash=paper.hash).exists():
        faults.append(f"{name}: seal {paper.n} is not in the record as it was handed out.")
    sealed = [leaf for leaf in paper.leaves if leaf["n"]]
    for start in range(0, len(sealed), AT_ONCE):
        faults += _compared(name, sealed[start : start + AT_ONCE])
    return faults


def _compared(name: str, leaves: Sequence[dict[str, Any]]) -> list[str]:
    places = reduce(or_, (Q(chain=leaf["chain"], n=leaf["n"]) for leaf in leaves))
    held = set(Entry.objects.filter(places).values_list("chain", "n", "hash"))
    return [
        f"{name}: {leaf['chain']} no longer holds what was sealed at entry {leaf['n']}."
        for leaf in leaves
        if (leaf["chain"], leaf["n"], leaf["head"]) not in held
    ]


@dataclass(frozen=True)
class Witness:
    """A seal that left the house: which, how, by whom and when."""

    seal: int
    how: str
    by: Any
    at: Any


def witnesses(most: int | None = None) -> list[Witness]:
    """Who took which seal along, the last first."""
    rows = (
        Entry.objects.filter(chain="plant", kind=TAKEN)
        .order_by("-n")
        .values_list("text", "by", "recorded_at")
    )
    found = []
    for text, by, at in rows[:most] if most else rows:
        body = json.loads(text)["body"]
        found.append(Witness(body["seal"], body["how"], by, at))
    return found
