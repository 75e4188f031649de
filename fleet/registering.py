"""Every act on the plant: people, sites, places with their positions, names, limits, outages, spares, settings.

Each act checks, then writes its entries; `record` puts many new rows on the right chains in one write.
"""

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from zoneinfo import available_timezones

from django.contrib.auth.password_validation import validate_password
from django.db import IntegrityError, transaction

from fleet import models
from fleet.ledger.writing import Fact, write
from fleet.models import (
    Account,
    Authority,
    Bearing,
    BearingFacts,
    Instrument,
    Limit,
    LimitUse,
    Machine,
    Name,
    Outage,
    Person,
    Place,
    ProposedLimit,
    Recorded,
    Role,
    Setting,
    Site,
    WearClass,
    folded,
)
from fleet.refusals import sentence_of
from fleet.second_person import proposed, sites_wanting

COMMAND_LINE = "command line"
PLANT = "plant"


class Refused(ValueError):
    """An act that cannot be done; the text says what was found, what is allowed and what to do."""


def _at_site(row: Any) -> str:
    return f"site:{row.site_id}" if row.site_id else PLANT


def _at_bearing(row: Any) -> str:
    return f"bearing:{row.bearing_id}" if row.bearing_id else PLANT


def _at_machine(row: Any) -> str:
    return f"pump:{row.machine_id}"


def _named(row: Name) -> str:
    if row.of == Name.Of.BEARING:
        return f"bearing:{row.thing}"
    return f"site:{row.thing}" if row.of == Name.Of.SITE else _at_site(row)


# What each row is called in the ledger and on which chain it stands (record.md, Chains).
KINDS: dict[type[Recorded], tuple[str, Callable[[Any], str]]] = {
    models.Site: ("site", lambda row: f"site:{row.id}"),
    models.Outage: ("outage", _at_site),
    models.Place: ("place", _at_site),
    models.PlaceFacts: ("place_facts", lambda row: _at_site(row.place)),
    models.PlannedDuty: ("planned_duty", lambda row: _at_site(row.place)),
    models.Machine: ("machine", lambda row: f"pump:{row.id}"),
    models.Installation: ("installation", _at_machine),
    # A rotor travels between machines, so it stands on no machine's chain; nor does a shell on a bearing's.
    models.Rotor: ("rotor", lambda row: PLANT),
    models.RotorFitting: ("rotor_fitting", _at_machine),
    models.Journal: ("journal", lambda row: PLANT),
    models.JournalDiameter: ("journal_diameter", lambda row: PLANT),
    models.WearClass: ("wear_class", lambda row: PLANT),
    models.Bearing: ("bearing", lambda row: f"bearing:{row.id}"),
    models.BearingFacts: ("bearing_facts", _at_bearing),
    models.Limit: ("limit", _at_bearing),
    models.ProposedLimit: ("proposed_limit", _at_bearing),
    models.Confirmation: ("confirmation", _at_bearing),
    models.ShellHalf: ("shell_half", lambda row: PLANT),
    models.ShellFitting: ("shell_fitting", _at_bearing),
    models.ShellState: ("shell_state", lambda row: PLANT),
    models.Spare: ("spare", _at_site),
    models.WorkHours: ("work_hours", lambda row: PLANT),
    models.Name: ("name", _named),
    models.Role: ("role", _at_site),
    models.Instrument: ("instrument", lambda row: PLANT),
    models.Calibration: ("calibration", lambda row: PLANT),
    models.Setting: ("setting", _at_site),
}


def record(rows: Iterable[Recorded], *, by: uuid.UUID, act: uuid.UUID | None = None) -> uuid.UUID:
    """Write new rows, each on its chain, in one act; kind by kind, so that each table is filled at once.

    Raises
    ------
    Refused
        when the record refuses a row, with the constraint's own sentence; nothing is stored then.
    """
    return _write(kind_by_kind([fact_of(row) for row in rows]), by=by, act=act)


def kind_by_kind(facts: Iterable[Fact]) -> list[Fact]:
    """Facts of one act with those of a kind together, what others point to first, changes of rows last."""
    order = {kind: n for n, (kind, _) in enumerate(KINDS.values())}
    return sorted(facts, key=lambda fact: order.get(fact.kind, len(order)))


def fact_of(row: Recorded) -> Fact:
    """The fact that a new row stands for, on its chain."""
    kind, chain = KINDS[type(row)]
    return Fact(chain(row), kind, row=row)


def withdraw(row: Recorded, *, reason: str, by: uuid.UUID, act: uuid.UUID | None = None) -> uuid.UUID:
    """Take a row back; it stays to be seen, marked with this act. Retiring a pump, a shell or a limit is this too."""
    return _write([withdrawal_of(row, reason=reason)], by=by, act=act)


def withdrawal_of(row: Recorded, *, reason: str) -> Fact:
    """The fact that takes a row back."""
    body = {"of": _kind_of(row), "id": row.id, "reason": _because(reason)}
    return Fact(row.chain, "withdrawal", body=body)


def revise(
    row: Recorded, values: Mapping[str, Any], *, reason: str, by: uuid.UUID, act: uuid.UUID | None = None
) -> uuid.UUID:
    """Give a row other values (by column name); the ledger keeps the ones before."""
    return _write([revision_of(row, values, reason=reason)], by=by, act=act)


def revision_of(row: Recorded, values: Mapping[str, Any], *, reason: str) -> Fact:
    """The fact that gives a row other values."""
    body = {"of": _kind_of(row), "id": row.id, "set": dict(values), "reason": _because(reason)}
    return Fact(row.chain, "revision", body=body)


def _kind_of(row: Recorded) -> str:
    return KINDS[type(row)][0]


def _because(reason: str) -> str:
    if not reason.strip():
        raise Refused(
            "No reason was given. Say in a few words why, so that the record can be understood later."
        )
    return reason.strip()


def _write(facts: Sequence[Fact], *, by: uuid.UUID, act: uuid.UUID | None) -> uuid.UUID:
    try:
        with transaction.atomic():
            return write(facts, by=by, act=act)
    except IntegrityError as error:
        raise Refused(sentence_of(error)) from error


def _filled(text: str, what: str) -> str:
    bare = " ".join(text.split())
    if not bare:
        raise Refused(f"The {what} is empty. Give it.")
    return bare


# People ------------------------------------------------------------------------------------------------------


def add_person(
    *, name: str, employer: str = "", by: uuid.UUID | None = None, act: uuid.UUID | None = None
) -> Person:
    """A new person; the chain holds the inner id, the name stands beside it. `by` empty: the person acts for itself."""
    bare = _filled(name, "person's name")
    person = Person(name=bare[:120], folded=folded(bare)[:120], employer=employer.strip()[:120])
    with transaction.atomic():
        person.save(force_insert=True)
        write([Fact(PLANT, "person", body={"id": person.id})], by=by or person.id, act=act)
    return person


def person_named(name: str, *, by: uuid.UUID | None = None) -> Person:
    """The person of that name (or who signs in by it), made where nobody has it yet."""
    key = folded(name)
    found = Person.objects.filter(folded=key).order_by("created_at").first()
    found = found or Person.objects.filter(account__username__iexact=name.strip()).first()
    return found or add_person(name=name, by=by)


def persons_named(names: Iterable[str], *, by: uuid.UUID, act: uuid.UUID | None = None) -> dict[str, Person]:
    """Many at once: folded name -> person, made where nobody has the name yet."""
    wanted = {folded(name): name for name in names if name.strip()}
    known: dict[str, Person] = {}
    keys = list(wanted)
    for start in range(0, len(keys), 500):
        for person in Person.objects.filter(folded__in=keys[start : start + 500]).order_by("-created_at"):
            known[person.folded] = person
    new = [
        Person(name=" ".join(wanted[key].split())[:120], folded=key[:120]) for key in keys if key not in known
    ]
    if new:
        with transaction.atomic():
            Person.objects.bulk_create(new)
            write([Fact(PLANT, "person", body={"id": person.id}) for person in new], by=by, act=act)
    return known | {person.folded: person for person in new}


def add_account(
    *, person: Person, username: str, password: str, must_change_password: bool = True, check: bool = True
) -> Account:
    """A way to sign in for a person. `check` off only where the password was made by the site itself.

    Raises
    ------
    Refused
        for a name that is taken.
    django.core.exceptions.ValidationError
        for a password that is too weak.
    """
    name = _filled(username, "sign-in name")
    if Account.objects.filter(username__iexact=name).exists():
        raise Refused(f"The sign-in name '{name}' is taken. Choose another.")
    account = Account(username=name, person=person, must_change_password=must_change_password)
    if check:
        validate_password(password, account)
    account.set_password(password)
    account.save(force_insert=True)
    return account


def give_role(
    *, person: Person, role: str, site: Site | None = None, from_on: dt.date | None = None, by: uuid.UUID
) -> Role:
    """A role at a site, or (without one) at all sites; giving it again adds nothing."""
    if role not in Role.Word.values:
        raise Refused(f"'{role}' is no role. Roles are: {', '.join(Role.Word.values)}.")
    held = Role.objects.standing().filter(person=person, role=role, site=site).first()
    if held:
        return held
    row = Role(person=person, role=role, site=site, from_on=from_on)
    record([row], by=by)
    return Role.objects.get(pk=row.pk)


# Sites and places --------------------------------------------------------------------------------------------


def checked_zone(name: str) -> str:
    """The name of a time zone, as the zone data spell it."""
    if name not in available_timezones():
        raise Refused(f"'{name}' is no time zone. Write one such as Etc/UTC or a region and city.")
    return name


def register_site(*, name: str, time_zone: str = "UTC", by: uuid.UUID, act: uuid.UUID | None = None) -> Site:
    """A new site, still setting up."""
    bare = _filled(name, "site's name")
    if Site.objects.filter(folded=folded(bare)).exists():
        raise Refused(f"A site called '{bare}' is there already. Choose another name.")
    site = Site(name=bare, folded=folded(bare), time_zone=checked_zone(time_zone))
    record([site], by=by, act=act)
    return Site.objects.get(pk=site.pk)


def open_record(site: Site, *, on: dt.date, by: uuid.UUID) -> None:
    """End a site's setting up: from now on nothing of it can be emptied."""
    if site.opened_on:
        raise Refused(f"The record of {site.name} was opened on {site.opened_on} already.")
    revise(site, {"opened_on": on}, reason="the record is opened", by=by)
    site.opened_on = on


@dataclass(frozen=True)
class NewPlace:
    """A place to be registered: its tag, its positions' names, and what is known (column -> value)."""

    site: Site
    tag: str
    positions: Sequence[str] = ("DE", "NDE")
    facts: Mapping[str, Any] | None = None
    bearing_facts: Mapping[str, Mapping[str, Any]] | None = None


def place_rows(new: NewPlace) -> list[Recorded]:
    """The rows of a new place, its positions, and the unnamed machine and rotor made with it; in order of need."""
    tag = _filled(new.tag, "pump's tag")
    place = Place(site=new.site, tag=tag, folded=folded(tag))
    machine = Machine(site=new.site)
    rotor = models.Rotor(site=new.site)
    rows: list[Recorded] = [
        place,
        machine,
        models.Installation(place=place, machine=machine),
        rotor,
        models.RotorFitting(machine=machine, rotor=rotor),
    ]
    if new.facts:
        rows.append(models.PlaceFacts(place=place, **new.facts))
    for position in new.positions:
        facts = (new.bearing_facts or {}).get(position)
        rows += position_rows(place=place, rotor=rotor, position=position, facts=facts)
    return rows


def position_rows(
    *, place: Place, rotor: models.Rotor | None, position: str, facts: Mapping[str, Any] | None = None
) -> list[Recorded]:
    """The rows of a new position: bearing, the rotor's journal of the same name, what is known of both."""
    name = _filled(position, "position's name")
    bearing = Bearing(place=place, name=name, folded=folded(name))
    rows: list[Recorded] = [bearing]
    if rotor:
        journal = models.Journal(rotor=rotor, name=name)
        rows.append(journal)
        diameter = (facts or {}).get("journal_diameter_um")
        if diameter is not None:
            rows.append(models.JournalDiameter(journal=journal, diameter_um=diameter))
    if facts:
        rows.append(BearingFacts(bearing=bearing, **facts))
    return rows


def register_places(
    places: Iterable[NewPlace], *, by: uuid.UUID, act: uuid.UUID | None = None
) -> dict[str, Place]:
    """Many places with their positions in one write; tag -> place."""
    rows = [row for new in places for row in place_rows(new)]
    record(rows, by=by, act=act)
    return {row.tag: row for row in rows if isinstance(row, Place)}


def wear_class_named(name: str, *, by: uuid.UUID, act: uuid.UUID | None = None) -> WearClass:
    """The class of that name, made where there is none."""
    found = WearClass.objects.filter(folded=folded(name)).first()
    if found is None:
        bare = _filled(name, "class's name")
        found = WearClass(name=bare, folded=folded(bare))
        record([found], by=by, act=act)
    return found


def state_facts(
    thing: Place | Bearing, values: Mapping[str, Any], *, from_on: dt.date | None, by: uuid.UUID
) -> Recorded:
    """A new dated version of what is known of a place or position; what is not named stays as it was."""
    row = next_facts(thing, latest_facts(thing), values, from_on)
    record([row], by=by)
    return row


def latest_facts(thing: Place | Bearing) -> Recorded | None:
    """The version of the facts that governs last."""
    rows = list(thing.facts.standing())
    return max(rows, key=version_order, default=None)


def version_order(row: Any) -> tuple[dt.date, int]:
    """Later days govern, and of one day the later entry."""
    return (row.from_on or dt.date.min, row.entry_n or 0)


def next_facts(
    thing: Place | Bearing, before: Recorded | None, values: Mapping[str, Any], from_on: dt.date | None
) -> Recorded:
    """The row of a new version: the one before with other values."""
    is_place = isinstance(thing, Place)
    model: type[Recorded] = models.PlaceFacts if is_place else BearingFacts
    own = "place_id" if is_place else "bearing_id"
    skipped = {"id", "from_on", own, *Recorded.STAMPS}
    kept = {
        f.attname: getattr(before, f.attname)
        for f in model._meta.concrete_fields
        if before is not None and f.attname not in skipped
    }
    row = model(**({"from_on": from_on} | kept | dict(values)))
    setattr(row, own.removesuffix("_id"), thing)
    return row


# Names -------------------------------------------------------------------------------------------------------


def rename(
    thing: Site | Place | Bearing | WearClass,
    *,
    name: str,
    from_on: dt.date | None,
    reason: str,
    by: uuid.UUID,
) -> None:
    """Give a site, pump, position or class another name; the old one leads on."""
    new = _filled(name, "new name")
    attribute = "tag" if isinstance(thing, Place) else "name"
    old = getattr(thing, attribute)
    if old == new:
        raise Refused(f"It is called '{new}' already.")
    facts = []
    if folded(old) != folded(new):
        facts.append(fact_of(_name_row(thing, old, None, False)))
    facts.append(fact_of(_name_row(thing, new, from_on, False)))
    facts.append(revision_of(thing, {attribute: new, "folded": folded(new)}, reason=reason))
    _write(facts, by=by, act=None)
    setattr(thing, attribute, new)
    thing.folded = folded(new)


def add_spelling(thing: Site | Place | Bearing | WearClass, *, text: str, by: uuid.UUID) -> Name:
    """Another spelling of a name, as the plant's sheets have it; never shown as the name."""
    row = _name_row(thing, _filled(text, "spelling"), None, True)
    record([row], by=by)
    return row


def _name_row(thing: Any, text: str, from_on: dt.date | None, spelling: bool) -> Name:
    of = {Site: "site", Place: "place", Bearing: "bearing", WearClass: "wear_class"}[type(thing)]
    place = thing if of == "place" else thing.place if of == "bearing" else None
    site = place.site if place else None
    return Name(
        of=of, thing=thing.id, site=site, text=text, folded=folded(text), from_on=from_on, spelling=spelling
    )


# Limits, settings, instruments, outages ----------------------------------------------------------------------


def set_limits(
    bearings: Iterable[Bearing], limits: Mapping[str, Decimal | None], *, authority: str = "", document: str = "",
    from_on: dt.date | None = None, by: uuid.UUID, act: uuid.UUID | None = None, **more: Any,
) -> list[Limit | ProposedLimit]:  # fmt: skip
    """Dated limits (use -> um, diametral; None lifts it) of positions, with who says so and where it is written.

    Where the site wants a second person they are proposed and hold nothing yet. `more`: typed, unit, reason, id.
    """
    unknown = sorted(set(limits) - set(LimitUse.values))
    if unknown:
        raise Refused(f"'{unknown[0]}' is no use of a limit. Uses are: {', '.join(LimitUse.values)}.")
    if authority and authority not in Authority.values:
        raise Refused(f"'{authority}' is no authority. Authorities are: {', '.join(Authority.values)}.")
    of = list(bearings)
    wait = sites_wanting({bearing.place.site for bearing in of})
    rows = [
        Limit(
            bearing=bearing, use=use, value_um=value, quantity="lining" if use == LimitUse.LINING_MIN else "clearance",
            authority=authority, document=document, from_on=from_on, **more,
        )
        for bearing in of
        for use, value in limits.items()
    ]  # fmt: skip
    made = [proposed(row) if row.bearing and row.bearing.place.site_id in wait else row for row in rows]
    record(made, by=by, act=act)
    return made


def set_setting(
    *, name: str, value: Any, site: Site | None = None, from_on: dt.date | None = None, by: uuid.UUID
) -> Setting:
    """A dated choice of the plant or of one site."""
    row = Setting(site=site, name=_filled(name, "setting's name"), value=value, from_on=from_on)
    record([row], by=by)
    return row


def instrument_named(
    label: str, *, method: str = "", by: uuid.UUID, act: uuid.UUID | None = None
) -> Instrument:
    """The instrument with that label, made where there is none."""
    return instruments_named({label: method}, by=by, act=act)[folded(label)]


def instruments_named(
    labels: Mapping[str, str], *, by: uuid.UUID, act: uuid.UUID | None = None
) -> dict[str, Instrument]:
    """Many at once: folded label -> instrument; `labels` gives the method of those to be made."""
    known = {one.folded: one for one in Instrument.objects.standing()}
    new = {
        folded(label): Instrument(label=" ".join(label.split()), folded=folded(label), method=method)
        for label, method in labels.items()
        if folded(label) not in known
    }
    if new:
        record(new.values(), by=by, act=act)
    return known | new


def schedule_outage(
    *, site: Site, name: str, start_on: dt.date, end_on: dt.date, by: uuid.UUID, **more: Any
) -> Outage:
    """A new outage; `more` takes crew_hours, block, pumps, scope_freeze_on."""
    row = Outage(site=site, name=_filled(name, "outage's name"), start_on=start_on, end_on=end_on, **more)
    record([row], by=by)
    return Outage.objects.get(pk=row.pk)
