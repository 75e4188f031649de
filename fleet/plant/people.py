"""Persons found by name or added, the accounts they sign in with, the roles they hold at a site."""

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence

from django.contrib.auth.password_validation import validate_password
from django.db import transaction

from fleet.ledger.commitments import ACCOUNT, NAME, account_body, name_body, new_salt
from fleet.ledger.writing import Fact, write
from fleet.models import (
    Account,
    Person,
    Role,
    Site,
    folded,
)
from fleet.plant.acts import PLANT, Refused, _filled, record
from fleet.plant.required_factor import look_again

# People


def add_person(
    *, name: str, employer: str = "", by: uuid.UUID | None = None, act: uuid.UUID | None = None
) -> Person:
    """A new person; the chain holds the inner id, the name stands beside it. `by` empty: the person acts for
    itself.
    """
    bare = _filled(name, "person's name")
    person = Person(
        name=bare[:120], folded=folded(bare)[:120], employer=employer.strip()[:120], salt=new_salt()
    )
    with transaction.atomic():
        person.save(force_insert=True)
        write(_entries_of([person]), by=by or person.id, act=act)
    return person


def _entries_of(people: Sequence[Person]) -> list[Fact]:
    """That these persons are, and the hashes of their names."""
    facts = [Fact(PLANT, "person", body={"id": person.id}) for person in people]
    return [*facts, *(Fact(PLANT, NAME, body=name_body(person)) for person in people)]


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
        Person(name=" ".join(wanted[key].split())[:120], folded=key[:120], salt=new_salt())
        for key in keys
        if key not in known
    ]
    if new:
        with transaction.atomic():
            Person.objects.bulk_create(new)
            write(_entries_of(new), by=by, act=act)
    return known | {person.folded: person for person in new}


def add_account(
    *,
    person: Person,
    username: str,
    password: str,
    must_change_password: bool = True,
    check: bool = True,
    by: uuid.UUID | None = None,
) -> Account:
    """A way to sign in for a person. `check` off only where the password was made by the site itself.
    `by`: who gives it; else the person.

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
    with transaction.atomic():
        account.save(force_insert=True)
        tell_state(account, "opened", by=by)
    return account


def tell_state(account: Account, what: str, *, by: uuid.UUID | None = None) -> None:
    """Record what was done to an account, with the hash of the state it is in now; `by` empty: its own
    person.
    """
    body = account_body(account, account.person.salt, what)
    write([Fact(PLANT, ACCOUNT, body=body)], by=by or account.person_id)


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
    look_again(person.pk)
    return Role.objects.get(pk=row.pk)
