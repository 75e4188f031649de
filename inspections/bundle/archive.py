"""One bearing's bundle for an auditor: records, tables, files, a report, the proof, and a checker that needs no site.

Making one relies on the forecast it prints, so it writes an entry on the bearing's chain and seals all chains.
"""

import datetime as dt
import io
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.clock import today_at
from fleet.ledger.canonical import audit_path, canonical, canonical_bytes, sha256_of
from fleet.ledger.seal import seal_now
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Person, Seal
from fleet.sheets.export import csv_bytes
from inspections.bundle import quoted_entries, report, tables
from inspections.bundle.quoted_entries import Kept
from inspections.forecasts.current import current
from inspections.forecasts.figures import COLUMNS
from inspections.forecasts.provenance import relied
from inspections.story.audit_trail import ledger_story
from inspections.trend import assembly

CHECKER = Path(__file__).with_name("verify.py")
# Equal bundles give equal zip files but for the seal: the archive carries no moment of its own.
NO_INSTANT = (1980, 1, 1, 0, 0, 0)


def make(bearing: Bearing, *, by: UUID, today: dt.date | None = None) -> dict[str, bytes]:
    """The files of a bearing's bundle by their names.

    Parameters
    ----------
    bearing : Bearing, with place and site fetched
    by : UUID
        the person who asks; stands in the entry and in the report.
    today : date, optional
        the day of the forecast; the site's day where none is given.

    Raises
    ------
    inspections.bundle.report.NoPrinter
        where the PDF cannot be made; nothing is written then.
    """
    today = today or today_at(bearing.place.site)
    report.must_be_able_to_print()
    figures = current([bearing], today)[bearing.pk]
    known, trend = assembly.trend_of(bearing, figures, today)
    chains = quoted_entries.chains_of(bearing)
    with transaction.atomic():
        before = quoted_entries.whole(chains, quoted_entries.heads_of(chains))
        others = quoted_entries.quoted(before, chains, bearing)
        body = relied(figures, today, quoted=quoted_entries.digest_of(others))
        write([Fact(chains[0], "forecast_relied_on", body=body)], by=by)
        seal, leaves = seal_now(by=by)
        own = quoted_entries.whole(chains, {leaf["chain"]: leaf["n"] for leaf in leaves})
        told = ledger_story(bearing)
    people = {person.pk: person for person in quoted_entries.people_in([*own, *others])}
    files = {
        "about.json": _about(bearing, seal, today, by),
        "entries.jsonl": _lines(own, others),
        "seal.json": canonical(_paper(seal, leaves, chains)).encode(),
        "story.csv": tables.story_csv(told),
        "readings.csv": tables.readings_csv(bearing, told, people),
        "limits.csv": tables.limits_csv(bearing, told),
        "people.csv": tables.people_csv(people.values()),
        "forecast.json": canonical_bytes(figures.row()),
        "forecast.csv": csv_bytes(COLUMNS, [figures.row()]),
        "report.pdf": report.report_pdf(bearing, told, figures, known, trend, seal, people.get(by)),
        "verify.py": CHECKER.read_bytes(),
        "README.txt": _readme(bearing, seal, people.get(by)).encode(),
    }
    files |= _attached([*own, *others])
    listed = {name: sha256_of(data) for name, data in files.items()}
    return files | {"files.json": canonical(listed).encode()}


def zipped(files: Mapping[str, bytes], folder: str) -> bytes:
    """The files as a zip archive of one folder."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            archive.writestr(
                zipfile.ZipInfo(f"{folder}/{name}", NO_INSTANT), files[name], zipfile.ZIP_DEFLATED
            )
    return out.getvalue()


def folder_name(bearing: Bearing) -> str:
    """A folder's name that any system takes: letters, digits and dashes of the pump and position."""
    words = f"{bearing.place.tag}-{bearing.name}"
    return (
        "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in words).strip("-") or "bearing"
    )


def _about(bearing: Bearing, seal: Seal, today: dt.date, by: UUID) -> bytes:
    said: dict[str, Any] = {
        "bearing": bearing.pk,
        "site": str(bearing.place.site),
        "pump": bearing.place.tag,
        "position": bearing.name,
        "as_of": today,
        "made_by": by,
        "seal": seal.n,
        "sealed_at": seal.sealed_at,
    }
    return canonical(said).encode()


def _lines(own: list[Kept], others: list[Kept]) -> bytes:
    lines = [canonical({"chain": e.chain, "n": e.n, "hash": e.hash, "text": e.text}) for e in own]
    lines += [
        canonical({"chain": e.chain, "n": e.n, "hash": e.hash, "text": e.text, "quoted": True})
        for e in others
    ]
    return ("\n".join(lines) + "\n").encode()


def _paper(seal: Seal, leaves: list[dict[str, Any]], chains: list[str]) -> dict[str, Any]:
    """The seal, and for each of the bearing's chains its leaf and the audit path to the seal's root."""
    texts = [canonical(leaf).encode() for leaf in leaves]
    proven = [
        {"leaf": leaf, "index": index, "path": [step.hex() for step in audit_path(texts, index)]}
        for index, leaf in enumerate(leaves)
        if leaf["chain"] in chains
    ]
    return {"seal": seal.text, "hash": seal.hash, "size": len(leaves), "leaves": proven}


def _attached(entries: list[Kept]) -> dict[str, bytes]:
    kept = {}
    for one in quoted_entries.attachments_in(entries):
        name = "".join(
            sign if sign.isascii() and (sign.isalnum() or sign in ".-_") else "-" for sign in one.name
        )
        kept[f"attachments/{one.file_id}-{name.lstrip('.-')[-60:] or 'file'}"] = bytes(one.file.data)
    return kept


def _readme(bearing: Bearing, seal: Seal, by: Person | None) -> str:
    return f"""{bearing.place.tag}, {bearing.name}, of {bearing.place.site}: everything recorded of this bearing.
Sealed {seal.sealed_at:%Y-%m-%d %H:%M} UTC (seal {seal.n}), asked for by {by or "someone not known"}.

report.pdf     the story on paper: chart, dates, limits in force, every entry in words, who and when
story.csv      every entry of the bearing's and its pump's chains in plain words, the newest first
readings.csv   every reading as typed and in micrometres, withdrawn ones too
limits.csv     every limit with its authority, document and the day from which it holds
people.csv     the names of the persons whose inner ids the entries hold
forecast.csv   the forecast of the day with its headings; forecast.json is the same row as it was hashed
attachments    photos and documents as they came; a photo may hold what the camera wrote, its place too
entries.jsonl  the entries themselves, whole chains first, then those quoted from other chains
seal.json      the seal over all chains' ends, with the path from these chains to its root (RFC 6962)
files.json     the SHA-256 of every file
verify.py      checks all of it: python verify.py, with Python alone, no network; 0 sound, 1 altered, 2 could not check

What it shows: nothing recorded here was changed or removed since the last seal that was kept outside the site. Give
such a seal to the checker (python verify.py --seal FILE). Without one it shows only that the bundle fits together.
What came later than a seal, and what was never entered, no chain can show.
Dates are for wear at the present rate. The record advises; people decide.
"""
