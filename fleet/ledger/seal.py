"""Sealing every chain's head: an RFC 6962 root, the time, the seal before, and what changed since."""

import json
import uuid
from typing import Any

from django.db import transaction

from fleet.clock import recorded_now
from fleet.ledger.canonical import GENESIS, canonical, sha256, tree_root
from fleet.models.ledger import Chain, Seal


def leaves() -> list[dict[str, Any]]:
    """Every chain's {chain, n, head}, in the order of their names."""
    rows = Chain.objects.order_by("id").values_list("id", "n", "head")
    return [{"chain": chain, "n": n, "head": head} for chain, n, head in sorted(rows)]


def root_of(all_leaves: list[dict[str, Any]]) -> str:
    """RFC 6962 root over the canonical leaves, as hex."""
    return tree_root([canonical(leaf).encode() for leaf in all_leaves]).hex()


def seal_now(*, by: uuid.UUID) -> tuple[Seal, list[dict[str, Any]]]:
    """Seal every chain's head as it is now; returns the seal and all leaves, to leave the house."""
    with transaction.atomic():
        last = Seal.objects.select_for_update().order_by("-n").first()
        now = leaves()
        before = heads_sealed()
        changed = [leaf for leaf in now if before.get(leaf["chain"]) != (leaf["n"], leaf["head"])]
        instant = recorded_now()
        n = (last.n if last else 0) + 1
        text = canonical(
            {
                "n": n,
                "sealed_at": instant,
                "by": by,
                "root": root_of(now),
                "chains": len(now),
                "prev": last.hash if last else GENESIS,
                "changed": changed,
            }
        )
        seal = Seal.objects.create(n=n, sealed_at=instant, root=root_of(now), text=text, hash=sha256(text))
    return seal, now


def heads_sealed() -> dict[str, tuple[int, str]]:
    """What the seals say of each chain when read in their order: its number and head at the last seal that
    named it.
    """
    heads: dict[str, tuple[int, str]] = {}
    for text in Seal.objects.order_by("n").values_list("text", flat=True):
        for leaf in json.loads(text)["changed"]:
            heads[leaf["chain"]] = (leaf["n"], leaf["head"])
    return heads
