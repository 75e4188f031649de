"""The plant's own kinds of sheet; a higher app registers its own in its `AppConfig.ready()`."""

from fleet.importing.loaders import LOADERS
from fleet.importing.outages import OutagesLoader
from fleet.importing.planned_duty import PlannedDutyLoader
from fleet.importing.register import RegisterLoader
from fleet.importing.spares import SparesLoader
from fleet.importing.work_hours import WorkHoursLoader


def register_loaders() -> None:
    of_plant = (RegisterLoader(), OutagesLoader(), SparesLoader(), WorkHoursLoader(), PlannedDutyLoader())
    for loader in of_plant:
        LOADERS.add(loader.holds, loader)
