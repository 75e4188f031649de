"""Import a sheet of planned duty."""

from fleet.importing.command import ImportCommand


class Command(ImportCommand):
    help = "Import a sheet of how pumps are meant to run, by period, whole or not at all."
    holds = "planned_duty"
