"""Writes entries_format_1.json: one entry of every kind, frozen. Run it once for a new kind, never for an old
one.

    DJANGO_SETTINGS_MODULE=fleet.settings PLAIN_HTTP=yes python -m tests.reference.make_entries_format_1

What stands in the file already is kept as it is: readers of a format stay for ever, and the frozen entries
prove it. Only before the first plant keeps a record may the file be thrown away and made anew.
"""

import datetime as dt
import json
import uuid
from decimal import Decimal
from pathlib import Path
from typing import Any

import django

django.setup()

from django.db import models

from fleet.ledger import kinds
from fleet.ledger.canonical import GENESIS, canonical, entry_text, plain, sha256

FILE = Path(__file__).with_name("entries_format_1.json")
SPACE = uuid.UUID("6d1f3a1c-52f4-4a0e-9d36-0c0a6f6f2c11")
INSTANT = dt.datetime(2026, 3, 9, 6, 30, 0, 125000, tzinfo=dt.UTC)
SAYS = {
    "withdrawal": {"of": "limit", "id": "", "reason": "typed for another bearing"},
    "revision": {"of": "outage", "id": "", "set": {"end_on": "2027-04-12"}, "reason": "more work"},
    "import_withdrawal": {
        "sheet": "",
        "act": "",
        "kinds": {"reading": []},
        "reason": "read by the wrong plan",
    },
    "seal_taken": {"seal": 3, "hash": "ab" * 32, "how": "downloaded"},
    "record_checked": {
        "entries": 12,
        "chains": 3,
        "seals": 1,
        "rows": 9,
        "looked_at": [{"what": "names of people", "n": 2, "faults": 0}],
        "not_covered": ["passwords"],
        "n_faults": 0,
        "faults": [],
        "last_seal_at": "2026-03-09T06:30:00.125000Z",
    },
}


def named(words: str) -> uuid.UUID:
    """An id that comes out the same at every run."""
    return uuid.uuid5(SPACE, words)


def sample(field: models.Field, kind: str) -> Any:
    """A value such as the field may hold, with letters beyond ASCII where there are letters."""
    if isinstance(field, models.ForeignKey):
        target = field.target_field
        return (
            "ab" * 32 if isinstance(target, models.CharField) else named(field.related_model._meta.model_name)
        )
    if field.primary_key:
        return named(field.model._meta.model_name)
    if field.choices:
        return next(key for key, _ in field.flatchoices if key not in ("", None))
    by_class = {
        models.UUIDField: named(f"{kind} {field.name}"),
        models.DecimalField: Decimal("12.5000"),
        models.BooleanField: False,
        models.DateTimeField: INSTANT,
        models.DateField: dt.date(2026, 3, 9),
        models.JSONField: {"word": "0,15 µm", "n": 3},
        models.CharField: (
            f"{field.name} ½ \"'µ"[: field.max_length] if isinstance(field, models.CharField) else ""
        ),
        models.TextField: "zwölf\n",
        models.IntegerField: 7,
        models.FloatField: 0.5,
    }
    return next(value for known, value in by_class.items() if isinstance(field, known))


def body(known: kinds.Kind) -> dict[str, Any]:
    if known.model is None:
        return {**SAYS.get(known.name, {}), "id": named(known.name)}
    row = known.model(**{field.attname: sample(field, known.name) for field in known.fields})
    return kinds.body_of(row, known)


def frozen(known: kinds.Kind, n: int) -> dict[str, str]:
    text = entry_text(
        act=str(named("act")),
        body=canonical(body(known)),
        by=str(named("by")),
        chain=f"bearing:{named('bearing')}",
        format=kinds.FORMAT,
        kind=known.name,
        n=n,
        prev=GENESIS,
        recorded_at=plain(INSTANT),
    )
    return {"kind": known.name, "text": text, "hash": sha256(text)}


def main() -> None:
    kept = {entry["kind"]: entry for entry in json.loads(FILE.read_text())} if FILE.exists() else {}
    for n, known in enumerate(kinds.all_kinds(), start=1):
        kept.setdefault(known.name, frozen(known, n))
    FILE.write_text(json.dumps(list(kept.values()), indent=1, ensure_ascii=False) + "\n")
    print(f"{len(kept)} kinds in {FILE.name}")


if __name__ == "__main__":
    main()
