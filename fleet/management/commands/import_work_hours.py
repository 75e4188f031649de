"""Import a sheet of crew hours of each kind of work."""

from fleet.importing.command import ImportCommand


class Command(ImportCommand):
    help = "Import a sheet of crew hours of each kind of work, whole or not at all."
    holds = "work_hours"
