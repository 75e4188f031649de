"""The break-glass account: sealed in an envelope, for one use on the day on which no administrator can sign
in.

Its password opens it once. The use stands in the ledger, and every administrator is told on their next page.
"""

from uuid import UUID

from django.db import transaction

from fleet.clock import now
from fleet.ledger.commitments import SEALED, UNSEALED
from fleet.models import Account, Person, Role
from fleet.plant.notices import tell_administrators
from fleet.plant.people import add_account, add_person, give_role, tell_state
from fleet.web.passwords import one_time_password

USERNAME = "break-glass"
# An emergency is seen to within it, or the envelope is sealed anew.
OPEN_FOR_S = 3600


def sealed_account() -> Account | None:
    """The account, where the plant has one."""
    return Account.objects.filter(is_sealed=True).select_related("person").first()


@transaction.atomic
def seal(*, by: UUID) -> str:
    """Seal the account with a new password, and make it where there is none; the password before opens
    nothing more.

    Returns
    -------
    str
        the password, to be printed and put into an envelope; nobody can read it back.

    Raises
    ------
    Refused
        where somebody signs in by its name already.
    """
    password = one_time_password()
    account = sealed_account()
    if account is None:
        person = add_person(name=USERNAME, by=by)
        account = add_account(
            person=person,
            username=USERNAME,
            password=password,
            must_change_password=False,
            check=False,
            by=by,
        )
        account.is_sealed = True
        give_role(person=person, role=Role.Word.ADMINISTRATOR, by=by)
    account.set_password(password)
    account.is_active, account.must_have_code = True, False
    account.save(update_fields=["password", "is_active", "must_have_code", "is_sealed"])
    tell_state(account, SEALED, by=by)
    tell_administrators(
        f"{Person.objects.get(pk=by)} sealed the break-glass account on {now():%Y-%m-%d} at {now():%H:%M}"
        " UTC."
    )
    return password


@transaction.atomic
def open_seal(account: Account, *, address: str) -> bool:
    """Use up the account's password, tell every administrator and record it; False where
    it was used before.
    """
    row = Account.objects.select_for_update().select_related("person").get(pk=account.pk)
    if not row.has_usable_password():
        return False
    row.set_unusable_password()
    row.save(update_fields=["password"])
    account.password = row.password
    tell_state(row, UNSEALED)
    instant = now()
    tell_administrators(
        f"The break-glass account was used on {instant:%Y-%m-%d} at {instant:%H:%M} UTC from {address}. Find"
        " out by whom and why, look at what was changed among people and roles, and seal the account anew."
    )
    return True
