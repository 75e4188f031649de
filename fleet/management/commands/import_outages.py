"""Import a sheet of outages."""

from fleet.importing.command import ImportCommand


class Command(ImportCommand):
    help = "Import a sheet of outages, whole or not at all."
    holds = "outages"
