"""What one entry of the ledger says, in plain words: by its kind, out of its body alone."""

import datetime as dt
import re
from collections.abc import Callable, Mapping
from typing import Any

from fleet import measuring_methods
from fleet.formatting import day, hours, um
from fleet.ledger import kinds
from fleet.models import Limit, ProposedLimit
from inspections.models import Agreement, Deferral, Disposition, Signature, Stage
from inspections.story.decided_words import DECIDED_WORDS
from inspections.story.effect_of_work import words_of

CHANGES = ("withdrawal", "revision", "import_withdrawal")
LIMITS = {
    "fitting_min": "fitting minimum",
    "fitting_max": "fitting maximum",
    "in_service_min": "in-service minimum",
    "in_service_max": "in-service maximum",
    "replace": "replace limit",
    "lining_min": "least lining",
}
_INNER = re.compile("[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}|[0-9a-f]{64}")
_DAY = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
# What only ties a row to others.
_TIES = ("order", "sheet_row", "row_id", "entered_at", "supersedes", "instead")


def entry_words(kind: str, body: Mapping[str, Any]) -> str:
    """One entry in plain words.

    Names that begin with an underscore are no part of the entry: `inspections.story.audit_trail` puts there
    what other entries say of the same thing.
    """
    tell = _TELL.get(kind)
    return tell(body) if tell else _plainly(kind, body)


def _plainly(kind: str, body: Mapping[str, Any]) -> str:
    """The kind's words, and every field that says something to a reader: no inner ids."""
    fields = [
        f"{_field_words(name)} {words}"
        for name, value in body.items()
        if name[0] != "_" and (words := _value_words(name, value))
    ]
    return f"{_capital(kinds.words_of(kind))}{': ' * bool(fields)}{', '.join(fields)}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _field_words(name: str) -> str:
    return re.sub("_(um|id|on)$", "", name).replace("_", " ")


def _value_words(name: str, value: Any) -> str:
    """A field's value for a reader; nothing for an inner id, a hash, or what holds more than one value."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict | list) or value in (None, "") or name in _TIES:
        return ""
    text = str(value)
    if _INNER.fullmatch(text):
        return ""
    if name.endswith("_um"):
        return um(value)
    if _DAY.fullmatch(text):
        return day(dt.date.fromisoformat(text))
    return text.replace("_", " ")


def _on(iso: str) -> str:
    return day(dt.date.fromisoformat(iso))


def _reading(body: Mapping[str, Any]) -> str:
    value = um(body["value_um"]) if "value_um" in body else _interval(body)
    method = measuring_methods.words_of(body.get("method", ""), "method not known")
    station = "-".join(str(body[part]) for part in ("end", "clock") if body.get(part))
    at = f" at {station}" if station else ""
    stage = dict(Stage.choices).get(body.get("stage", ""), "")
    quantity = body.get("quantity", "clearance").replace("_", " ")
    return (
        f"{quantity.capitalize()} {value} {stage}, {method}{at} (typed {body.get('typed')}"
        f" {body.get('unit')})"
    )


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
    return f"{answer}: {body.get('_what') or kinds.words_of(body['of'])}{reason}"


def _change(body: Mapping[str, Any]) -> str:
    """A change: of which entry, in its own words, what stands in its place, and why."""
    what = body.get("_of") or f"a {kinds.words_of(body['of'])} of another bearing"
    why = f". Reason: {body.get('reason') or 'none given'}"
    stands = body.get("_stands", "another entry")
    if "set" in body:
        return f"Correction of {what}: {_changed_fields(body)}{why}"
    if body.get("joined"):
        return f"Two records of one thing joined: {what}; what stands: {stands}{why}"
    if body.get("moved"):
        return f"Moved from another position that is the same bearing: {what}; what stands: {stands}{why}"
    return f"Withdrawal of {what}{f'; in its place: {stands}' if body.get('instead') else ''}{why}"


def _changed_fields(body: Mapping[str, Any]) -> str:
    """Each field that a correction sets, and what stood there before."""
    before = body.get("_before", {})
    return "; ".join(
        f"{_field_words(name)} {_value_words(name, value) or 'none'}"
        + (f", before {_value_words(name, before.get(name)) or 'none'}" if before else "")
        for name, value in body["set"].items()
    )


def _import_taken_back(body: Mapping[str, Any]) -> str:
    n = ", ".join(f"{kinds.words_of(kind)}: {len(ids)}" for kind, ids in sorted(body["kinds"].items()))
    return f"A whole import taken back ({n}): {body['reason']}"


def _decision(body: Mapping[str, Any]) -> str:
    return DECIDED_WORDS.get(body["decided"], body["decided"].replace("_", " "))


def _decided(body: Mapping[str, Any]) -> str:
    why = f". {body['why']}" if body.get("why") else ""
    if body["decided"] == "defer":
        return (
            f"Work put off until {_on(body['until_on'])}{why}. The {body['owner_role']} answers for it;"
            f" checked meanwhile: {body['extra_checks']}"
        )
    return f"Decided{' with an accepted plan' if body.get('plan_id') else ''}: {_decision(body)}{why}"


def _disposed(body: Mapping[str, Any]) -> str:
    said = f"Disposition: {Disposition.Answer(body['answer']).label!s}. Checked: {body['checked']}"
    if body.get("check_by"):
        said += (
            f". Interim checks by {body['check_by']} every {body['check_every_days']} days, stop at"
            f" {body['stop_at']}"
        )
    return said + (f". Expires {_on(body['expires_on'])}" if body.get("expires_on") else "")


def _deferred(body: Mapping[str, Any]) -> str:
    asked = f"Asked to put its work off until {_on(body['until_on'])}: {body['reason']}"
    late = f". Past the early date because: {body['late_why']}" if body.get("late_why") else ""
    checks = (
        f"Interim checks by {body['check_by']} every {body['check_every_days']} days, stop at"
        f" {body['stop_at']}"
    )
    level = Deferral.Level(body["level"]).label
    return f"{asked}{late}. {checks}. Level: {level} ({body['why_level']})"


def _opened_outside(body: Mapping[str, Any]) -> str:
    stop = f"; the stop costs {body['stop_h']} crew hours" if body.get("stop_h") else ""
    return f"Asked to open the pump outside an outage on {_on(body['opens_on'])}{stop}: {body['reason']}"


def _agreed(body: Mapping[str, Any]) -> str:
    did = "Agreed" if body["agreed"] else "Refused"
    return f"{did} for {Agreement.Side(body['side']).label}" + (
        f": {body['reason']}" if body.get("reason") else ""
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


_TELL: dict[str, Callable[[Mapping[str, Any]], str]] = {
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
    "shell_fitting": lambda body: f"Shell fitted, {body['half']} half",
    "name": lambda body: f"Name: {body['text']}",
    "set_aside": lambda body: f"Row {body['number']} set aside: {body['question']} Reason: {body['reason']}",
    "withdrawal": _change,
    "import_withdrawal": _import_taken_back,
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
