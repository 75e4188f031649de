"""What an account is told on its next page, until it says that it has read it."""

from collections.abc import Iterable

from fleet.clock import now
from fleet.models import Account, Notice, Role

LONGEST = Notice._meta.get_field("words").max_length


def tell(accounts: Iterable[Account], words: str) -> None:
    """Tell accounts the same thing."""
    told = list(accounts)
    instant = now()
    Notice.objects.bulk_create(Notice(account=account, at=instant, words=words[:LONGEST]) for account in told)
    Account.objects.filter(pk__in=[account.pk for account in told]).update(has_notices=True)


def tell_administrators(words: str) -> None:
    """Tell everybody who administers, at whichever site."""
    held = Role.objects.standing().filter(role=Role.Word.ADMINISTRATOR).values("person")
    tell(Account.objects.filter(person__in=held, is_active=True, is_sealed=False), words)


def read(account: Account) -> int:
    """Everything that stands before an account was read; answers how many there were."""
    n = Notice.objects.filter(account=account, read_at=None).update(read_at=now())
    Account.objects.filter(pk=account.pk).update(has_notices=False)
    return n
