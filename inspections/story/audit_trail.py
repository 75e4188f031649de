"""One bearing's entries as an auditor reads them: what was recorded, when, by whom, from what source, in plain words."""

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from fleet import measuring_methods
from fleet.formatting import day, hours, um
from fleet.models import Bearing, Entry, Installation, Instrument, Limit, Person, ProposedLimit, Sheet
from fleet.plant.calibration import doubts
from inspections.models import Agreement, Deferral, Disposition, Signature, Stage
from inspections.records.position_merge import joined_into
from inspections.story.decided_words import DECIDED_WORDS
from inspections.story.happenings import words_of

# What stands on a pump's chain belongs to the story; what it says of another position of the pump does not.
KINDS = {
    "reading": "reading",
    "event": "work and findings",
    "meter": "hour meter",
    "visit": "opening",
    "limit": "limit",
    "bearing_facts": "facts",
    "shell_fitting": "shell",
    "name": "name",
    "set_aside": "set aside",
    "withdrawal": "withdrawal",
    "revision": "correction",
    "decision": "decision",
    "contact_check": "contact",
    "disposition": "disposition",
    "closing": "closing",
    "signature_asked": "second signature asked for",
    "signature": "signature",
    "deferral": "deferral",
    "outside_opening": "opening outside an outage",
    "agreement": "agreement",
    "import_withdrawal": "withdrawal",
    "proposed_limit": "proposed limit",
    "confirmation": "second person",
}
CHANGES = ("withdrawal", "revision", "import_withdrawal")
LIMITS = {
    "fitting_min": "fitting minimum",
    "fitting_max": "fitting maximum",
    "in_service_min": "in-service minimum",
    "in_service_max": "in-service maximum",
    "replace": "replace limit",
    "lining_min": "least lining",
}


@dataclass(frozen=True)
class Line:
    """One entry in words; `withdrawn` says when and why it no longer counts."""

    happened_on: dt.date | None
    recorded_at: dt.datetime
    chain: str
    n: int
    hash: str
    kind: str
    what: str
    who: str
    source: str
    thing: UUID | None
    withdrawn: str = ""

    @property
    def kind_words(self) -> str:
        return KINDS.get(self.kind, self.kind.replace("_", " "))

    @property
    def days_late(self) -> int | None:
        """Days between what happened and its recording."""
        return (self.recorded_at.date() - self.happened_on).days if self.happened_on else None

    @property
    def late(self) -> str:
        """How much later it was recorded, in words; nothing where it was the same day."""
        days = self.days_late
        if not days or days < 0:
            return ""
        if days < 120:
            return f"{days} day{'' if days == 1 else 's'} later"
        return f"{round(days / 30.44)} months later" if days < 730 else f"{round(days / 365.25)} years later"


@dataclass(frozen=True)
class LedgerStory:
    """All entries of one bearing's own chain and its machines' chains, as known on a day."""

    bearing: Bearing
    lines: list[Line] = field(default_factory=list)
    n_entries: int = 0
    n_corrections: int = 0

    @property
    def kinds(self) -> list[tuple[str, str]]:
        """The kinds there are, with their words."""
        return sorted({(line.kind, line.kind_words) for line in self.lines}, key=lambda pair: pair[1])


def ledger_story(bearing: Bearing, known_by: dt.date | None = None) -> LedgerStory:
    """The story of a bearing out of the ledger itself.

    Parameters
    ----------
    bearing : Bearing
    known_by : date, optional
        only what had been recorded by the end of that day (UTC): what was known then.
    """
    machines = (
        Installation.objects.standing().filter(place=bearing.place_id).values_list("machine_id", flat=True)
    )
    own = {
        str(bearing.pk),
        *(str(pk) for pk in joined_into(bearing)),
    }  # what was joined into it is its story too
    chains = [*(f"bearing:{pk}" for pk in sorted(own)), *(f"pump:{machine}" for machine in machines)]
    rows = Entry.objects.filter(chain__in=chains)
    if known_by:
        rows = rows.filter(recorded_at__lt=dt.datetime.combine(known_by, dt.time.max, tzinfo=dt.UTC))
    entries = list(rows.order_by("recorded_at", "id"))
    bodies = {entry.pk: json.loads(entry.text)["body"] for entry in entries}
    people = _people(entries, bodies.values())
    # A register's rows name no sheet: the act they share with it does.
    sheets = {sheet.act: sheet for sheet in Sheet.objects.filter(act__in={entry.act for entry in entries})}
    gauges = _gauges(bodies.values())
    _join_second_persons(entries, bodies, people)
    _name_what_stands(entries, bodies)
    lines = [
        _line(entry, bodies[entry.pk], people, sheets, gauges)
        for entry in entries
        if bodies[entry.pk].get("bearing_id") in {None, *own}
    ]
    marked = list(_marked(lines, entries, bodies, people))
    changes = sum(line.kind in CHANGES for line in marked)
    marked.sort(
        key=lambda line: (line.happened_on or line.recorded_at.date(), line.recorded_at, line.n), reverse=True
    )
    return LedgerStory(bearing, marked, len(entries), changes)


def _gauges(bodies: Iterable[Mapping[str, Any]]) -> dict[tuple[str, str], str]:
    """By gauge and day of a reading: the gauge's label, and what speaks against it on that day."""
    used = {
        (body["instrument_id"], body["on"]) for body in bodies if body.get("instrument_id") and body.get("on")
    }
    if not used:
        return {}
    labels = {
        str(one.pk): one.label for one in Instrument.objects.filter(pk__in={gauge for gauge, _ in used})
    }
    said = doubts((UUID(gauge), dt.date.fromisoformat(on)) for gauge, on in used)
    return {
        (gauge, on): f", gauge {labels.get(gauge, 'not known')}"
        + (f" ({words})" if (words := said.get((UUID(gauge), dt.date.fromisoformat(on)), "")) else "")
        for gauge, on in used
    }


def _people(entries: Sequence[Entry], bodies: Any) -> dict[str, str]:
    wanted = {str(entry.by) for entry in entries}
    for body in bodies:
        wanted |= {
            body[name] for name in ("measured_by", "done_by", "checked_by", "person_id") if body.get(name)
        }
    return {str(person.pk): str(person) for person in Person.objects.filter(pk__in=wanted)}


def _line(
    entry: Entry,
    body: Mapping[str, Any],
    people: Mapping[str, str],
    sheets: Mapping[UUID, Sheet],
    gauges: Mapping[tuple[str, str], str],
) -> Line:
    happened = body.get("on") or body.get("from_on") or body.get("opened_on")
    return Line(
        dt.date.fromisoformat(happened) if happened else None,
        entry.recorded_at,
        entry.chain,
        entry.n,
        entry.hash,
        entry.kind,
        _what(entry.kind, body) + gauges.get((body.get("instrument_id", ""), body.get("on", "")), ""),
        _who(entry, body, people),
        _source(entry, body, sheets),
        entry.thing,
    )


def _who(entry: Entry, body: Mapping[str, Any], people: Mapping[str, str]) -> str:
    """Recorded by, and measured, done and checked by where that is said; of what wants two persons both."""
    did = "recorded"
    if entry.kind == "proposed_limit":
        did = "proposed"
    elif entry.kind == "confirmation" or body.get("_first"):
        did = "confirmed" if body.get("agreed", True) else "refused"
    elif entry.kind == "signature":
        did = "signed"
    by = people.get(str(entry.by), "someone not known")
    said = [f"{did} by {by}"]
    if entry.kind == "signature_asked":
        said.append(f"of {people.get(body['person_id'], 'someone not known')}")
    if body.get("_first"):
        said.insert(0, body["_first"])
    for name, words in (("measured_by", "measured by"), ("done_by", "done by"), ("checked_by", "checked by")):
        if body.get(name):
            said.append(f"{words} {people.get(body[name], 'someone not known')}")
    if body.get("checked_by"):
        said.append(f"as named by {by}")
        said += ["measured and checked by the same person"] * (body["checked_by"] == body.get("measured_by"))
    return ", ".join(said)


def _source(entry: Entry, body: Mapping[str, Any], sheets: Mapping[UUID, Sheet]) -> str:
    sheet = sheets.get(entry.act)
    said = [sheet.name if sheet else "", f"row {body['sheet_row']}" if body.get("sheet_row") else ""]
    said.append(f"job {body['job']}" if body.get("job") else "")
    return ", ".join(word for word in said if word)


def _what(kind: str, body: Mapping[str, Any]) -> str:
    """One entry in plain words."""
    tell = _TELL.get(kind)
    return tell(body) if tell else kind.replace("_", " ").capitalize()


def _reading(body: Mapping[str, Any]) -> str:
    value = um(body["value_um"]) if "value_um" in body else _interval(body)
    method = measuring_methods.words_of(body.get("method", ""), "method not known")
    station = "-".join(str(body[part]) for part in ("end", "clock") if body.get(part))
    at = f" at {station}" if station else ""
    stage = dict(Stage.choices).get(body.get("stage", ""), "")
    quantity = body.get("quantity", "clearance").replace("_", " ")
    return f"{quantity.capitalize()} {value} {stage}, {method}{at} (typed {body.get('typed')} {body.get('unit')})"


def _interval(body: Mapping[str, Any]) -> str:
    if "low_um" not in body:
        return f"under {um(body['high_um'])}"
    return (
        f"{um(body['low_um'])} to {um(body['high_um'])}"
        if "high_um" in body
        else f"over {um(body['low_um'])}"
    )


def _event(body: Mapping[str, Any]) -> str:
    percent = body.get("contact_percent")
    return words_of(
        body["kind"],
        half=body.get("half", ""),
        shell=body.get("shell", ""),
        reason=body.get("reason", ""),
        outcome=body.get("outcome", ""),
        contact_percent=float(percent) if percent else None,
        note=body.get("note", ""),
    ) + (" (wants a second person)" if body.get("awaits_second") else "")


def _limit(body: Mapping[str, Any]) -> str:
    use = LIMITS.get(body["use"], body["use"])
    value = f"{um(body['value_um'])}" if "value_um" in body else "lifted"
    since = f" from {day(dt.date.fromisoformat(body['from_on']))}" if body.get("from_on") else ""
    said = ", ".join(
        word for word in (body.get("authority", "").replace("_", " "), body.get("document", "")) if word
    )
    why = f". Reason: {body['reason']}" if body.get("reason") else ""
    return f"Limit: {use} {value}{since}{f' ({said})' if said else ''}{why}"


def limit_words(row: Limit | ProposedLimit) -> str:
    """A limit in the words of the history."""
    body = {name: getattr(row, name) for name in ("use", "authority", "document", "reason")}
    if row.value_um is not None:
        body["value_um"] = row.value_um
    return _limit(body | ({"from_on": row.from_on.isoformat()} if row.from_on else {}))


def _confirmation(body: Mapping[str, Any]) -> str:
    answer = "Confirmed by a second person" if body["agreed"] else "Refused by a second person"
    reason = f". Reason: {body['reason']}" if body.get("reason") else ""
    return f"{answer}: {body.get('_what') or body['of']}{reason}"


def _join_second_persons(
    entries: Sequence[Entry], bodies: Mapping[int, dict[str, Any]], people: Mapping[str, str]
) -> None:
    """Give a confirmation, and the limit written with it, the words and the author of what it confirms."""
    first = {str(entry.thing): entry for entry in entries if entry.kind in ("proposed_limit", "event")}
    authors: dict[tuple[UUID, str], str] = {}
    for entry in entries:
        body = bodies[entry.pk]
        if entry.kind != "confirmation" or body["thing"] not in first:
            continue
        what = first[body["thing"]]
        did = "proposed" if what.kind == "proposed_limit" else "recorded"
        body["_what"] = _what(what.kind, bodies[what.pk])
        body["_first"] = f"{did} by {people.get(str(what.by), 'someone not known')}"
        if what.kind == "proposed_limit":
            authors[entry.act, bodies[what.pk]["use"]] = body["_first"]
    for entry in entries:
        if entry.kind == "limit" and (by := authors.get((entry.act, bodies[entry.pk]["use"]))):
            bodies[entry.pk]["_first"] = by


def _name_what_stands(entries: Sequence[Entry], bodies: Mapping[int, dict[str, Any]]) -> None:
    """Give the joining of two records the words of the one that stands."""
    added = {str(entry.thing): entry for entry in entries if entry.kind not in CHANGES}
    for entry in entries:
        stands = added.get(bodies[entry.pk].get("instead", "")) if bodies[entry.pk].get("joined") else None
        if stands:
            what = _what(stands.kind, bodies[stands.pk])
            bodies[entry.pk]["_stands"] = f"entry no. {stands.n}, {what}"


def _change(body: Mapping[str, Any]) -> str:
    what = KINDS.get(body["of"], body["of"].replace("_", " "))
    if "set" in body:
        values = ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in body["set"].items())
        return f"Correction of a {what}: {values}. Reason: {body.get('reason', 'none given')}"
    if body.get("joined"):
        stands = body.get("_stands", "another entry")
        return f"Two records of one {what} joined; what stands: {stands}. Reason: {body['reason']}"
    if body.get("moved"):
        return f"Moved: a {what} of another position that is the same bearing. Reason: {body['reason']}"
    return f"Withdrawal of a {what}. Reason: {body.get('reason', 'none given')}"


def _decided(body: Mapping[str, Any]) -> str:
    why = f". {body['why']}" if body.get("why") else ""
    if body["decided"] == "defer":
        return (
            f"Work put off until {body['until_on']}{why}. The {body['owner_role']} answers for it; checked meanwhile: "
            f"{body['extra_checks']}"
        )
    return f"Decided{' with an accepted plan' if body.get('plan_id') else ''}: {body['decided']}{why}"


def _disposed(body: Mapping[str, Any]) -> str:
    said = f"Disposition: {Disposition.Answer(body['answer']).label!s}. Checked: {body['checked']}"
    if body.get("check_by"):
        said += f". Interim checks by {body['check_by']} every {body['check_every_days']} days, stop at {body['stop_at']}"
    return said + (f". Expires {body['expires_on']}" if body.get("expires_on") else "")


def _deferred(body: Mapping[str, Any]) -> str:
    asked = f"Asked to put its work off until {body['until_on']}: {body['reason']}"
    late = f". Past the early date because: {body['late_why']}" if body.get("late_why") else ""
    checks = f"Interim checks by {body['check_by']} every {body['check_every_days']} days, stop at {body['stop_at']}"
    level = Deferral.Level(body["level"]).label
    return f"{asked}{late}. {checks}. Level: {level} ({body['why_level']})"


def _opened_outside(body: Mapping[str, Any]) -> str:
    stop = f"; the stop costs {body['stop_h']} crew hours" if body.get("stop_h") else ""
    return f"Asked to open the pump outside an outage on {body['opens_on']}{stop}: {body['reason']}"


def _agreed(body: Mapping[str, Any]) -> str:
    did = "Agreed" if body["agreed"] else "Refused"
    return f"{did} for {Agreement.Side(body['side']).label}" + (
        f": {body['reason']}" if body["reason"] else ""
    )


def _closed(body: Mapping[str, Any]) -> str:
    word, decided = (DECIDED_WORDS.get(body[name], body[name]) for name in ("word", "decided"))
    said = f"Closed: {decided}" if word == decided else f"Closed against the word {word}: {decided}"
    return said + (", without a disposition" if body.get("without_disposition") else "")


def _asked(body: Mapping[str, Any]) -> str:
    claim = ", claimed on a device without network" if body.get("claimed") else ""
    return f"Second signature asked for, no signature yet{claim}"


def _signature(body: Mapping[str, Any]) -> str:
    ends = "; ".join(
        f"{end['chain'].partition(':')[0]} no. {end['n']}, {end['hash'][:12]}" for end in body["signs"]
    )
    return f"Signature: {Signature.Meaning(body['meaning']).label}. It is for all entries up to {ends}"


_TELL = {
    "reading": _reading,
    "event": _event,
    "limit": _limit,
    "proposed_limit": lambda body: f"Proposed, holds nothing before a second person confirms. {_limit(body)}",
    "confirmation": _confirmation,
    "meter": lambda body: (
        f"Hour meter {hours(body['hours'])}" + (" after a reset" if body.get("reset") else "")
    ),
    "visit": lambda body: "Opened" + (f", {body['why']}" if body.get("why") else ""),
    "bearing": lambda body: f"Position {body['name']} set up",
    "machine": lambda body: "Pump set up",
    "bearing_facts": lambda body: "Facts of the position",
    "shell_fitting": lambda body: f"Shell fitted, {body['half']} half",
    "name": lambda body: f"Name: {body['text']}",
    "set_aside": lambda body: f"Row {body['number']} set aside: {body['question']} Reason: {body['reason']}",
    "withdrawal": _change,
    "import_withdrawal": lambda body: f"A whole import taken back: {body['reason']}",
    "revision": _change,
    "contact_check": lambda body: f"Contact print, round {body.get('round', 1)}",
    "decision": _decided,
    "disposition": _disposed,
    "closing": _closed,
    "signature_asked": _asked,
    "signature": _signature,
    "deferral": _deferred,
    "outside_opening": _opened_outside,
    "agreement": _agreed,
}


def _did(body: Mapping[str, Any]) -> str:
    if body.get("joined"):
        return f"joined with {body.get('_stands', 'another entry')}, which stands,"
    return "moved to the position that stands," if body.get("moved") else "withdrawn"


def _marked(
    lines: Sequence[Line], entries: Sequence[Entry], bodies: Mapping[int, dict], people: Mapping[str, str]
) -> Iterator[Line]:
    """Lines with what later took them back."""
    taken = {}
    for entry in entries:
        body = bodies[entry.pk]
        if entry.kind == "withdrawal":
            who = people.get(str(entry.by), "someone not known")
            did = _did(body)
            taken[body["id"]] = f"{did} {day(entry.recorded_at.date())} by {who}: {body.get('reason', '')}"
        elif entry.kind == "import_withdrawal":
            when = f"withdrawn with its whole import {day(entry.recorded_at.date())}: {body['reason']}"
            taken |= {row: when for ids in body["kinds"].values() for row in ids}
        elif entry.kind == "revision":
            taken[body["id"]] = f"corrected {day(entry.recorded_at.date())}: {body.get('reason', '')}"
    for line in lines:
        yield replace(
            line,
            withdrawn=taken.get(str(line.thing), "") if line.kind not in CHANGES else "",
        )
