"""One bearing's bundle for an auditor: records, tables, files, a report, the proof, and a checker that needs
no site.

Making one relies on the forecast it prints, so it writes an entry on the bearing's chain and seals all
chains.
"""

import datetime as dt
import io
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.clock import today_at
from fleet.ledger.canonical import audit_path, canonical, canonical_bytes, sha256_of
from fleet.ledger.seal import seal_now
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Chain, Person, Seal
from fleet.sheets.export import csv_bytes
from inspections.bundle import quoted_entries, report, tables
from inspections.bundle.quoted_entries import Kept
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.provenance import relied
from inspections.story.audit_trail import ledger_story
from inspections.trend import assembly

FORMAT = 3  # of the bundle; one without this number holds a checker of its own time
AT_LEISURE = 2  # times a bundle is made without the chains locked
CHECKER = Path(__file__).with_name("verify.py")
# Equal bundles give equal zip files but for the seal: the archive carries no moment of its own.
NO_INSTANT = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class _Read:
    """What a bundle holds of the record: whole chains, what they quote, and the heads all
    of it was read at.
    """

    chains: list[str]
    heads: dict[str, int]
    own: list[Kept]
    others: list[Kept]

    @classmethod
    def of(cls, bearing: Bearing) -> "_Read":
        chains = quoted_entries.chains_of(bearing)
        heads = _heads(bearing, chains)
        own = quoted_entries.whole(chains, heads)
        return cls(chains, heads, own, quoted_entries.quoted(own, chains, bearing))

    def stands(self, bearing: Bearing) -> bool:
        """Whether nothing was recorded since on a chain that it reads; asked inside a transaction, it stays
        so.
        """
        names = sorted(_watched(bearing, self.chains))
        list(Chain.objects.select_for_update().filter(id__in=names).order_by("id"))
        return quoted_entries.chains_of(bearing) == self.chains and _heads(bearing, self.chains) == self.heads


def _watched(bearing: Bearing, chains: Iterable[str]) -> set[str]:
    return {*chains, "plant", f"site:{bearing.place.site_id}"}


def _heads(bearing: Bearing, chains: Iterable[str]) -> dict[str, int]:
    return quoted_entries.heads_of(sorted(_watched(bearing, chains)))


def make(bearing: Bearing, *, by: UUID, today: dt.date | None = None) -> dict[str, bytes]:
    """The files of a bearing's bundle by their names.

    Its own entry, the last on the bearing's chain, holds the SHA-256 of every file but those that hold the
    entry itself: the entries, the seal made behind it, what it is about, and the list of files.

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
    for _ in range(
        AT_LEISURE
    ):  # made without holding up who records; anew where something was recorded meanwhile
        read = _Read.of(bearing)
        files, body = _bound(bearing, read, today, by)
        with transaction.atomic():
            if read.stands(bearing):
                return _sealed(bearing, read, files, body, by)
    with transaction.atomic():
        read = _Read.of(bearing)
        read.stands(bearing)
        return _sealed(bearing, read, *_bound(bearing, read, today, by), by)


def _bound(
    bearing: Bearing, read: _Read, today: dt.date, by: UUID
) -> tuple[dict[str, bytes], dict[str, Any]]:
    """The files that the bundle's own entry binds, and that entry's body."""
    from inspections.forecasts.frames import SHEET, figures_frame, forecast_sheet  # pandas is slow to import

    figures = current([bearing], today)[bearing.pk]
    judgement = judgements([bearing], today)[bearing.pk]
    known, trend = assembly.trend_of(bearing, figures, today)
    told = ledger_story(bearing)
    people = {person.pk: person for person in quoted_entries.people_in([*read.own, *read.others], by)}
    changes = tables.Changes.of(read.own, people)
    checker = CHECKER.read_bytes()
    files = {
        "story.csv": tables.story_csv(told),
        "readings.csv": tables.readings_csv(bearing, changes),
        "events.csv": tables.events_csv(bearing, read.chains, changes),
        "limits.csv": tables.limits_csv(bearing, changes),
        "people.csv": tables.people_csv(people.values()),
        "forecast.json": canonical_bytes(figures.row()),
        "forecast.csv": csv_bytes(SHEET, forecast_sheet(figures_frame([(figures, judgement)]))),
        "report.pdf": report.report_pdf(
            bearing,
            told,
            (figures, judgement),
            known,
            trend,
            last_seal=Seal.objects.order_by("-n").first(),
            checker=sha256_of(checker),
            by=people.get(by),
        ),
        "verify.py": checker,
        "README.txt": _readme(bearing, today, people.get(by)).encode(),
    } | _attached([*read.own, *read.others])
    body = relied(
        figures,
        today,
        quoted=quoted_entries.digest_of(read.others),
        files={name: sha256_of(data) for name, data in files.items()},
        about={
            "bearing": bearing.pk,
            "site": str(bearing.place.site),
            "pump": bearing.place.tag,
            "position": bearing.name,
        },
    )
    return files, body


def _sealed(
    bearing: Bearing, read: _Read, files: dict[str, bytes], body: dict[str, Any], by: UUID
) -> dict[str, bytes]:
    """The whole bundle: its entry written, all chains sealed, and what holds them beside
    the files it binds.
    """
    write([Fact(read.chains[0], "forecast_relied_on", body=body)], by=by)
    seal, leaves = seal_now(by=by)
    own = quoted_entries.whole(read.chains, {leaf["chain"]: leaf["n"] for leaf in leaves})
    files = files | {
        "about.json": _about(body, seal, by),
        "entries.jsonl": _lines(own, read.others),
        "seal.json": canonical(_paper(seal, leaves, read.chains)).encode(),
    }
    listed = {name: sha256_of(data) for name, data in files.items()}
    return files | {"files.json": canonical(listed).encode()}


def checker_hash() -> str:
    """SHA-256 of the checker that bundles hold, to be compared before it is run."""
    return sha256_of(CHECKER.read_bytes())


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


def _about(body: Mapping[str, Any], seal: Seal, by: UUID) -> bytes:
    said: dict[str, Any] = {
        **body["about"],
        "format": FORMAT,
        "as_of": body["on"],
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


def _readme(bearing: Bearing, today: dt.date, by: Person | None) -> str:
    return f"""{bearing.place.tag}, {bearing.name}, of {bearing.place.site}: everything recorded of this bearing.
As known on {today.isoformat()}, asked for by {by or "someone not known"}.

report.pdf     the story on paper: chart, dates, limits in force, every entry in words, who and when
story.csv      every entry of the bearing's and its pump's chains in plain words, the newest first, under each what it
               replaces; who recorded it, in which role and with which rights then
readings.csv   every reading as typed and in micrometres; what was corrected or withdrawn stands beside what replaces it
events.csv     all work and findings, of the bearing and of the whole pump
limits.csv     every limit with its authority, document and the day from which it holds
people.csv     the names of the persons whose inner ids the entries hold
forecast.csv   the forecast of the day with its headings, and what stands by it: word, outage, trigger, chances;
               forecast.json is the forecast alone as it was hashed, its own word of advice that of the engine
attachments    photos and documents as they came; a photo may hold what the camera wrote, its place too
entries.jsonl  the entries themselves, whole chains first, then those quoted from other chains
seal.json      the seal over all chains' ends, with the path from these chains to its root (RFC 6962)
about.json     what the bundle is of, and its seal; files.json: the SHA-256 of every file
verify.py      checks all of it: python verify.py, with Python alone, no network; 0 nothing wrong, 1 altered,
               2 could not check. The site's page that hands out bundles prints this file's SHA-256: compare it first,
               here by sha256sum verify.py (on Windows: certutil -hashfile verify.py SHA256).

The last entry of the bearing's chain holds the SHA-256 of every file but entries.jsonl, seal.json, about.json and
files.json. Without a seal kept outside the site, all of this shows only that the bundle is consistent with itself, which
anyone who can write could make so. Give the checker such a seal: python verify.py --seal FILE, where FILE is a seal taken
along on the site's page "Proof" or written by `manage.py seal --out`, the seal.json of another bundle, or the 64 signs of
this bundle's seal as somebody else has them. A seal older than this bundle proves the entries up to it; one made with the bundle or later proves every file.
What came later than a seal, and what was never entered, no chain can show.
Dates are for wear at the present rate. The record advises; people decide.
"""  # noqa: E501 (a file of its own, as wide as its table)
