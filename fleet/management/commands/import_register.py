"""Import a sheet of places, positions and limits."""

from fleet.importing.command import ImportCommand


class Command(ImportCommand):
    help = "Import a sheet of places, positions and limits, whole or not at all."
    holds = "register"
