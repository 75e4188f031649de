"""The register: sites, pumps, positions, what is known of them, their limits and the
shells that lie in them.
"""

import uuid
from collections import defaultdict
from collections.abc import Iterable, Sequence

from fleet.clock import today_at
from fleet.importing import register_checks as checks
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context, Loader
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.register_changes import AGAIN, Changes
from fleet.importing.register_columns import COLUMNS
from fleet.importing.register_state import State
from fleet.ledger.writing import Fact, write
from fleet.models import Place, Sheet, Site, folded
from fleet.plant.acts import fact_of, kind_by_kind, revision_of
from fleet.plant.second_person import sites_wanting

PumpKey = tuple[uuid.UUID, str]


class RegisterLoader(Loader):
    """One row per bearing position; the register again makes dated versions of what changed."""

    holds = Sheet.Holds.REGISTER
    columns = COLUMNS
    makes_sites = True

    def resolve(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        """Sites, pumps and positions that are known by any of their names; the others will be new."""
        sites: dict[str, Site] = {}
        for row in parsed.rows:
            name = row.values.setdefault("site", context.options.site) or ""
            if not name:
                continue
            key = context.directory.fold(name)
            known = context.directory.site(name)
            site = sites.setdefault(key, known or Site(name=name, folded=key))
            row.values["_site"] = site
            row.site = known.id if known else None
            tag = row.get("pump")
            places = context.directory.places_of(tag, known) if known and tag else []
            row.values["_place"] = places[0] if places else None
            position = row.get("position")
            if places and position:
                bearing = context.directory.bearing(places[0], position)
                row.values["_bearing"] = bearing
                row.bearing = bearing.id if bearing else None
        return ()

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        rows = parsed.rows
        for row in rows:
            yield from checks.lengths_um(row)
            yield from checks.limits_in_order(row)
        yield from checks.twice(rows)
        yield from checks.zones_agree(rows)
        yield from checks.shells_once(rows)
        yield from checks.disagreeing(_pumps(rows).values())
        parsed.remarks += _news(rows)

    def prepare(self, rows: Sequence[ParsedRow], context: Context) -> None:
        """Compare with the record; the facts of all changes, in the order of need."""
        sites = {row.values["_site"].id: row.values["_site"] for row in rows}
        changes = Changes(
            State.load({row.site for row in rows if row.site}), sites_wanting(list(sites.values()))
        )
        site_facts = _sites(sites.values(), rows, changes)
        changes.skip_repeated(rows)
        for (site_id, _), some in _pumps(rows).items():
            site = sites[site_id]
            changes.pump(site, some[0].values["_place"], some, today_at(site))
        context.memory["facts"] = kind_by_kind([*site_facts, *changes.facts])
        context.memory["touched"] = changes.touched
        if changes.n_waiting:
            waits = "limit waits" if changes.n_waiting == 1 else "limits wait"
            context.after.append(f"{changes.n_waiting} {waits} for a second person and hold nothing before")

    def store(self, rows: Sequence[ParsedRow], context: Context, act: uuid.UUID) -> tuple[int, int]:
        if context.memory["facts"]:
            write(context.memory["facts"], by=context.by, act=act)
        n_stored = len(context.memory["touched"])
        return n_stored, len(rows) - n_stored


def _pumps(rows: Iterable[ParsedRow]) -> dict[PumpKey, list[ParsedRow]]:
    """Rows by their pump, whatever it is called in each."""
    groups: dict[PumpKey, list[ParsedRow]] = defaultdict(list)
    for row in rows:
        site, place = row.get("_site"), row.get("_place")
        if site is not None and row.get("pump"):
            groups[site.id, str(place.id) if isinstance(place, Place) else folded(row.values["pump"])].append(
                row
            )
    return groups


def _sites(sites: Iterable[Site], rows: Sequence[ParsedRow], changes: Changes) -> list[Fact]:
    """New sites, and the time zones of known ones."""
    facts = []
    for site in sites:
        own = [row for row in rows if row.values["_site"] is site]
        zoned = next((row for row in own if row.get("time_zone")), None)
        zone = zoned.values["time_zone"] if zoned else None
        if own[0].site is None:
            site.time_zone = zone or site.time_zone
            facts.append(fact_of(site))
            changes.touched.add(own[0].number)
        elif zoned and zone != site.time_zone:
            facts.append(revision_of(site, {"time_zone": zone}, reason=AGAIN))
            changes.touched.add(zoned.number)
            site.time_zone = str(zone)
    return facts


def _news(rows: Sequence[ParsedRow]) -> list[str]:
    """That a register makes new sites and pumps: a misspelt name shows here."""
    new_sites = dict.fromkeys(
        row.values["_site"].name for row in rows if row.get("_site") and row.site is None
    )
    new_pumps = {key for key, some in _pumps(rows).items() if some[0].get("_place") is None}
    said = [f"new sites: {', '.join(new_sites)}"] if new_sites else []
    return said + ([f"new pumps: {len(new_pumps)}"] if new_pumps else [])
