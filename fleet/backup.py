"""The whole site in one file, from and into either database; a restored record is verified before it stands.

The file is a zip archive: about.json, the seal made with it, and for each table its rows as lines of JSON. It
holds password hashes and everything recorded: keep it as safe as the site itself.
"""

import base64
import datetime as dt
import hashlib
import json
import os
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import IO, Any
from uuid import UUID

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.db.migrations.recorder import MigrationRecorder

from fleet import bulk
from fleet.ledger.canonical import canonical
from fleet.ledger.one_moment import as_at_one_moment
from fleet.ledger.seal import leaves, root_of, seal_now
from fleet.ledger.verify import verify
from fleet.models import Entry, Seal

FORMAT = 1
APPS = ("fleet", "inspections")
AT_ONCE = 2000


class NotDone(Exception):
    """A backup or restore that cannot be; the text says why and what to do. Nothing is half done."""


@dataclass(frozen=True)
class Kept:
    """What a backup holds."""

    n_rows: int
    n_entries: int
    seal: str


def tables() -> list[type[models.Model]]:
    """Every table of the record, those that others point to first as far as the apps declare them so."""
    return [model for app in APPS for model in apps.get_app_config(app).get_models(include_auto_created=True)]


def back_up(path: Path, *, by: UUID) -> Kept:
    """Write the whole site to a new file, sealed; readable by its owner alone.

    Raises
    ------
    NotDone
        where the file is there already or cannot be written; a half-written one is taken away.
    """
    try:
        handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError:
        raise NotDone(f"{path} is there already, perhaps an earlier backup. Choose another name.") from None
    except OSError as trouble:
        raise NotDone(f"{path} cannot be written ({trouble.strerror}).") from None
    try:
        with os.fdopen(handle, "wb") as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            return _write(archive, by)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def _write(archive: zipfile.ZipFile, by: UUID) -> Kept:
    """Seal, then all rows as they stood at one instant."""
    seal, _ = seal_now(by=by)
    counts, digests = {}, {}
    with as_at_one_moment():
        heads = leaves()
        for model in tables():
            name = model._meta.label_lower
            with archive.open(f"tables/{name}.jsonl", "w", force_zip64=True) as out:
                counts[name], digests[name] = _write_rows(model, out)
    about = {
        "format": FORMAT,
        "made_at": seal.sealed_at,
        "migrations": migrations(),
        "rows": counts,
        "sha256": digests,
        "root": root_of(heads),
        "leaves": heads,
        "seal": seal.text,
        "hash": seal.hash,
    }
    archive.writestr("about.json", canonical(about))
    return Kept(sum(counts.values()), counts[Entry._meta.label_lower], seal.root)


def _write_rows(model: type[models.Model], out: IO[bytes]) -> tuple[int, str]:
    names = [field.attname for field in model._meta.concrete_fields]
    head = f"{json.dumps(names)}\n".encode()
    digest, n = hashlib.sha256(head), 0
    out.write(head)
    for row in model._base_manager.order_by("pk").values_list(*names).iterator(chunk_size=AT_ONCE):
        line = json.dumps([_plain(value) for value in row], ensure_ascii=False).encode() + b"\n"
        out.write(line)
        digest.update(line)
        n += 1
    return n, digest.hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode("ascii")
    if isinstance(value, dt.datetime | dt.date):
        return value.isoformat()
    return str(value) if isinstance(value, Decimal | UUID) else value


def migrations() -> list[str]:
    """The migrations of the record's tables, as applied."""
    applied = MigrationRecorder(connection).applied_migrations()
    return sorted(f"{app}.{name}" for app, name in applied if app in APPS)


def restore(path: Path) -> Kept:
    """Fill an empty, migrated record from a backup, and verify it before it stands.

    Raises
    ------
    NotDone
        for a file that is none or was changed, a record that is not empty, another version of the tables, or
        a restored record that does not verify. Nothing is stored then.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            return _fill(archive)
    except (OSError, zipfile.BadZipFile, KeyError, ValueError) as trouble:
        raise NotDone(
            f"{path} is no backup of this site, or was cut off ({trouble}). Nothing was restored."
        ) from None


def _fill(archive: zipfile.ZipFile) -> Kept:
    about = json.loads(archive.read("about.json"))
    _must_fit(about)
    with transaction.atomic():
        _must_be_empty()
        for model in tables():
            name = model._meta.label_lower
            with archive.open(f"tables/{name}.jsonl") as lines:
                n, digest = read_rows(model, lines)
            if (n, digest) != (about["rows"][name], about["sha256"][name]):
                raise NotDone(
                    f"The table {name} is not as it was written. The file was changed; use another backup."
                )
        reset_sequences(tables())
        found = verify()
        if not found:
            raise NotDone(
                f"The restored record does not verify: {found.faults[0]} Nothing was kept; use another"
                " backup."
            )
        if root_of(leaves()) != about["root"]:
            raise NotDone(
                "The restored chains do not end as the backup says. Nothing was kept; use another backup."
            )
    return Kept(sum(about["rows"].values()), found.n_entries, about["root"])


def _must_fit(about: dict[str, Any]) -> None:
    if about.get("format") != FORMAT:
        raise NotDone(f"This is a backup of format {about.get('format')}; this site reads format {FORMAT}.")
    if Entry.objects.exists() or Seal.objects.exists():
        raise NotDone(
            "This record is not empty, and nothing recorded is ever written over. Name a new database in"
            " DATABASE_URL."
        )
    here, there = set(migrations()), set(about["migrations"])
    if here != there:
        odd = ", ".join(sorted(here ^ there))
        raise NotDone(
            f"The backup's tables are of another version of this site ({odd}). Restore with that version,"
            " then upgrade."
        )


def _must_be_empty() -> None:
    """No table holds anything yet that what comes could collide with."""
    for model in tables():
        if model._base_manager.exists():
            raise NotDone(
                f"The table {model._meta.label_lower} is not empty. Name a new database in DATABASE_URL."
            )


def read_rows(model: type[models.Model], lines: IO[bytes]) -> tuple[int, str]:
    digest, n = hashlib.sha256(), 0
    first = lines.readline()
    digest.update(first)
    fields = {field.attname: field for field in model._meta.concrete_fields}
    names = json.loads(first)
    if sorted(names) != sorted(fields):
        raise NotDone(f"The columns of {model._meta.label_lower} are not those of this site.")
    for batch in _batches(lines):
        for line in batch:
            digest.update(line)
        rows = [json.loads(line) for line in batch]
        columns = {name: [_value(fields[name], row[i]) for row in rows] for i, name in enumerate(names)}
        bulk.insert_columns(model, columns, with_keys=True)
        n += len(rows)
    return n, digest.hexdigest()


def _batches(lines: IO[bytes]) -> Iterator[list[bytes]]:
    batch: list[bytes] = []
    for line in lines:
        batch.append(line)
        if len(batch) == AT_ONCE:
            yield batch
            batch = []
    if batch:
        yield batch


def _value(field: models.Field, value: Any) -> Any:
    if value is None or isinstance(field, models.JSONField):
        return value
    if isinstance(field, models.BinaryField):
        return base64.b64decode(value)
    target = field.target_field if isinstance(field, models.ForeignKey) else field
    return target.to_python(value)


def reset_sequences(of: list[type[models.Model]]) -> None:
    """Automatic keys go on after the highest that came back."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), of):
            cursor.execute(statement)
