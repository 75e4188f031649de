"""Where no administrator can sign in: `manage.py reset_second_factor NAME`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.models import Account
from fleet.plant.acts import COMMAND_LINE, Refused
from fleet.plant.people import person_named
from fleet.plant.second_factor import reset


class Command(BaseCommand):
    help = "Take an account's second factor away; it is recorded, and its holder is told on the next page."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME", help="the sign-in name")
        parser.add_argument(
            "--by", metavar="NAME", default=COMMAND_LINE, help="who does it; else 'command line'"
        )

    def handle(self, *args: Any, name: str, by: str, **given: Any) -> None:
        account = Account.objects.filter(username__iexact=name.strip()).select_related("person").first()
        if account is None:
            raise CommandError(f"Nobody signs in as '{name}'. Give a sign-in name.", returncode=2)
        try:
            reset(account, by=person_named(by).id)
        except Refused as refusal:
            raise CommandError(str(refusal), returncode=2) from None
        self.stdout.write(f"The second factor of {account} is reset; {account} is told of it.")
