"""An account with a one-time password: `manage.py add_person NAME --role ROLE [--site SITE]`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from fleet.models import Role, Site
from fleet.plant.accounts import admit, site_called
from fleet.plant.acts import COMMAND_LINE, Refused
from fleet.plant.people import person_named


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
        account, password = admit(
            name=name, role=role, site=site, by=by.id, new_password=given["new_password"]
        )
        where = site.name if site else "all sites"
        if password:
            self.stdout.write(f"{account} is {role} at {where}. Password for the first sign-in: {password}")
        else:
            self.stdout.write(f"{account} is {role} at {where} now; the password stays as it is.")
