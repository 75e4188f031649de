"""The plant's own kinds of sheet; a higher app registers its own in its `AppConfig.ready()`."""

from fleet.importing.loaders import register_loader
from fleet.importing.outages import OutagesLoader
from fleet.importing.register import RegisterLoader
from fleet.importing.spares import SparesLoader
from fleet.importing.work_hours import WorkHoursLoader


def register_loaders() -> None:
    for loader in (RegisterLoader(), OutagesLoader(), SparesLoader(), WorkHoursLoader()):
        register_loader(loader.holds, loader)
