"""Who has a way to sign in, and what they may do where: acts of the administrator. Figures are never compared
by person.
"""

from uuid import UUID

from django.db import transaction

from fleet.access import sites_of
from fleet.models import Account, Role, Site, folded
from fleet.plant.acts import Refused, withdraw
from fleet.plant.people import add_account, give_role, person_named, tell_state
from fleet.plant.required_factor import look_again
from fleet.web.passwords import one_time_password

GOVERN = "people and sites"


def site_called(name: str) -> Site:
    """The site of that name.

    Raises
    ------
    Refused
    """
    found = Site.objects.standing().filter(folded=folded(name)).first()
    if found is None:
        there = ", ".join(Site.objects.standing().values_list("name", flat=True)) or "none yet"
        raise Refused(
            f"No site is called '{name}'. Sites are: {there}. Name one of these, or leave --site out."
        )
    return found


@transaction.atomic
def admit(
    *, name: str, role: str, by: UUID, site: Site | None = None, new_password: bool = False
) -> tuple[Account, str]:
    """Give a person a role and a way to sign in.

    Returns
    -------
    tuple
        the account, and its one-time password; empty where the account had one already and keeps it.
    """
    person = person_named(name, by=by)
    give_role(person=person, role=role, site=site, by=by)
    account = Account.objects.filter(person=person).first()
    if account is None:
        password = one_time_password()
        return add_account(person=person, username=name, password=password, check=False, by=by), password
    return account, renew(account, by=by) if new_password else ""


@transaction.atomic
def renew(account: Account, *, by: UUID) -> str:
    """Another one-time password for an account; every session it has ends.

    Raises
    ------
    Refused
        for the break-glass account, whose password is made by sealing it.
    """
    if account.is_sealed:
        raise Refused(
            "The break-glass account gets its password by being sealed anew. Seal it on the page of people."
        )
    password = one_time_password()
    account.set_password(password)
    account.must_change_password = True
    account.save(update_fields=["password", "must_change_password"])
    tell_state(account, "password set anew", by=by)
    return password


def governs(administrator: Account, account: Account) -> bool:
    """Whether an administrator may touch an account: only where every role it holds is at
    a site of theirs.
    """
    own = sites_of(administrator, GOVERN)
    held = Role.objects.standing().filter(person=account.person_id).values_list("site_id", flat=True)
    return own is None or all(site in own for site in held)


def end_role(*, role: Role, reason: str, by: UUID) -> None:
    """End a role; that it was held, and until when, stays in the record.

    Raises
    ------
    Refused
        without a reason, or for the last administrator of all sites.
    """
    last = (
        Role.objects.standing()
        .filter(role=Role.Word.ADMINISTRATOR, site=None)
        .exclude(pk=role.pk)
        .exclude(person__account__is_sealed=True)
    )
    if role.role == Role.Word.ADMINISTRATOR and role.site_id is None and not last.exists():
        raise Refused("This is the last administrator of all sites. Give the role to somebody else first.")
    withdraw(role, reason=reason, by=by)
    look_again(role.person_id)


@transaction.atomic
def shut(account: Account, *, by: UUID, open_again: bool = False) -> None:
    """Close a way to sign in, at once, or open it again; the person's part in the record stays."""
    account.is_active = open_again
    account.save(update_fields=["is_active"])
    tell_state(account, "opened again" if open_again else "closed", by=by)
