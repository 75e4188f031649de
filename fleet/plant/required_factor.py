"""Of which roles the plant asks a second factor, and which accounts must therefore have one."""

from uuid import UUID

from fleet.clock import now
from fleet.ledger.committed_rows import Look
from fleet.models import Account, Role, Setting

SETTING = "second_factor_roles"


def roles_required() -> frozenset[str]:
    """The roles that need a second factor today; none where no plant ever chose so."""
    rows = Setting.objects.standing().filter(name=SETTING)
    if not rows.exists():
        return frozenset()
    value = Setting.objects.in_force(SETTING, None, now().date()) or {}
    return frozenset(value.get("roles", ()))


def look_again(person: UUID | None = None) -> None:
    """Note on accounts whether they must have a second factor, so that no page needs to ask; of one person or
    of all.

    The sealed account is never asked: it is there for the day on which nobody's second factor works.
    """
    roles = roles_required()
    accounts = Account.objects.filter(is_sealed=False)
    if person is not None:
        accounts = accounts.filter(person=person)
    held = Role.objects.standing().filter(role__in=roles).values("person")
    accounts.filter(person__in=held, must_have_code=False).update(must_have_code=True)
    accounts.filter(must_have_code=True).exclude(person__in=held).update(must_have_code=False)


def required_factors() -> Look:
    """Whether a second factor is asked of each account whose role the plant asks it of, and of no other."""
    look = Look("of which accounts a second factor is asked, by the plant's choice and the roles held")
    held = set(Role.objects.standing().filter(role__in=roles_required()).values_list("person", flat=True))
    for account in Account.objects.order_by():
        look.n += 1
        if account.must_have_code != (account.person_id in held and not account.is_sealed):
            look.faults.append(
                f"account of person {account.person_id}: a second factor is"
                f" {'' if account.must_have_code else 'not '}asked of it, the record says otherwise."
            )
    return look
