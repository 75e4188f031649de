"""Give the site's database role what it needs and no more: `manage.py grant_site_role ROLE`."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError, connection, transaction

from fleet.ledger.roles import grants


class Command(BaseCommand):
    help = (
        "On PostgreSQL, as the owner: let ROLE run the site, with only SELECT and INSERT on the ledger. Again"
        " after each migrate."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("role", help="a role that exists already, made by who looks after the database")

    def handle(self, *args: Any, role: str, **_: Any) -> None:
        if connection.vendor != "postgresql":
            raise CommandError(
                "SQLite knows no roles; there the triggers alone refuse a change.", returncode=2
            )
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                for statement in grants(role):
                    cursor.execute(statement)
        except (ValueError, DatabaseError) as refused:
            raise CommandError(f"{str(refused).strip()} Nothing was granted.", returncode=2) from None
        self.stdout.write(f"{role} may run the site, and only read and add to the ledger.")
