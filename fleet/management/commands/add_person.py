"""An account with a one-time password: `manage.py add_person NAME --role ROLE [--site SITE]`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from fleet.models import Account, Person, Role, Site, folded
from fleet.passwords import one_time_password
from fleet.registering import COMMAND_LINE, Refused, add_account, give_role, person_named


class Command(BaseCommand):
    help = "Give a person a role and a way to sign in; the password it prints works until the first sign-in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME", help="the person's name; it is the sign-in name too")
        parser.add_argument("--role", required=True, choices=Role.Word.values)
        parser.add_argument("--site", metavar="SITE", help="the site where the role is held; else all sites")
        parser.add_argument(
            "--new-password", action="store_true", help="for an account whose password is lost"
        )
        parser.add_argument(
            "--by", metavar="NAME", default=COMMAND_LINE, help="who gives it; else 'command line'"
        )

    def handle(self, *args: Any, name: str, role: str, site: str | None, **given: Any) -> None:
        try:
            with transaction.atomic():
                self._add(name, role, site_called(site) if site else None, given)
        except Refused as refusal:
            raise CommandError(str(refusal), returncode=2) from None

    def _add(self, name: str, role: str, site: Site | None, given: dict[str, Any]) -> None:
        by = person_named(given["by"])
        person = person_named(name, by=by.id)
        give_role(person=person, role=role, site=site, by=by.id)
        account = Account.objects.filter(person=person).first()
        where = site.name if site else "all sites"
        if account and not given["new_password"]:
            self.stdout.write(f"{account} is {role} at {where} now; the password stays as it is.")
            return
        password = one_time_password()
        account = renew(account, password) if account else new_account(person, name, password)
        self.stdout.write(f"{account} is {role} at {where}. Password for the first sign-in: {password}")


def site_called(name: str) -> Site:
    """The site of that name."""
    found = Site.objects.standing().filter(folded=folded(name)).first()
    if found is None:
        there = ", ".join(Site.objects.standing().values_list("name", flat=True)) or "none yet"
        raise Refused(
            f"No site is called '{name}'. Sites are: {there}. Name one of these, or leave --site out."
        )
    return found


def new_account(person: Person, name: str, password: str) -> Account:
    """An account that must set a password of its own first."""
    return add_account(person=person, username=name, password=password, check=False)


def renew(account: Account, password: str) -> Account:
    """The account with another one-time password."""
    account.set_password(password)
    account.must_change_password = True
    account.save(update_fields=["password", "must_change_password"])
    return account
