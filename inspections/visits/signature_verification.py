"""Every signature held to the entries that it was given for: each bound hash must be the hash that stands
there.
"""

from typing import Any

from fleet.ledger.committed_rows import Look
from fleet.models import Entry
from inspections.models import Signature

AT_ONCE = 200


def bound_signatures() -> Look:
    """All signatures, withdrawn ones too; one that binds nothing is a fault as well."""
    look = Look("signatures, each held to the entries it was given for by their hashes")
    rows = list(Signature._base_manager.order_by("chain", "entry_n").values_list("pk", "signs"))
    bound = {(end["chain"], end["n"]) for _, signs in rows for end in _ends(signs)}
    stands = _hashes(bound)
    for pk, signs in rows:
        look.n += 1
        ends = _ends(signs)
        if not ends or len(ends) < len(signs):
            look.faults.append(f"signature {pk}: it does not say which entries it is for.")
        for end in ends:
            if stands.get((end["chain"], end["n"])) != end["hash"]:
                look.faults.append(
                    f"signature {pk}: {end['chain']}, entry {end['n']} is not what was signed there."
                )
    return look


def _ends(signs: object) -> list[dict[str, Any]]:
    """The entries a signature names: those that can be read at all."""
    if not isinstance(signs, list):
        return []
    return [
        end
        for end in signs
        if isinstance(end, dict) and isinstance(end.get("n"), int) and {"chain", "hash"} <= set(end)
    ]


def _hashes(bound: set[tuple[str, int]]) -> dict[tuple[str, int], str]:
    by_chain: dict[str, list[int]] = {}
    for chain, n in bound:
        by_chain.setdefault(chain, []).append(n)
    found = {}
    for chain, numbers in by_chain.items():
        for start in range(0, len(numbers), AT_ONCE):
            rows = Entry.objects.filter(chain=chain, n__in=numbers[start : start + AT_ONCE])
            found |= {(chain, n): digest for n, digest in rows.values_list("n", "hash")}
    return found
