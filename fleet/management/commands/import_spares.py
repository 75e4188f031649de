"""Import a sheet of spare shells."""

from fleet.importing.command import ImportCommand


class Command(ImportCommand):
    help = "Import a sheet of spare shells, whole or not at all."
    holds = "spares"
