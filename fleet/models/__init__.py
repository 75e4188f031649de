"""What the plant owns. Import from here: `from fleet.models import Bearing`.

Inside, files stand in one direction: recorded, site, place, bearing, shell; the ledger's tables stand apart.
"""

from fleet.models.bearing import Authority, Bearing, BearingFacts, Limit, LimitUse, LoadSide, Seat, WearClass
from fleet.models.costly_requests import CostlyRequest
from fleet.models.job import Job
from fleet.models.ledger import Chain, Entry, Seal
from fleet.models.names import Name, folded
from fleet.models.person import Account, Notice, Person, Role
from fleet.models.place import (
    Installation,
    Journal,
    JournalDiameter,
    Machine,
    Place,
    PlaceFacts,
    PlannedDuty,
    Rotor,
    RotorFitting,
)
from fleet.models.plant import Calibration, Instrument, Setting, SettingsRead
from fleet.models.recorded import Recorded
from fleet.models.second_person import Confirmation, ProposedLimit
from fleet.models.sheet import Answer, Attachment, Draft, ReadingPlan, SetAside, Sheet, SheetRow, StoredFile
from fleet.models.shell import Half, ShellFitting, ShellHalf, ShellState, Spare, WorkHours
from fleet.models.site import Outage, Site

__all__ = [
    "Account",
    "Answer",
    "Attachment",
    "Authority",
    "Bearing",
    "BearingFacts",
    "Calibration",
    "Chain",
    "Confirmation",
    "CostlyRequest",
    "Draft",
    "Entry",
    "Half",
    "Installation",
    "Instrument",
    "Job",
    "Journal",
    "JournalDiameter",
    "Limit",
    "LimitUse",
    "LoadSide",
    "Machine",
    "Name",
    "Notice",
    "Outage",
    "Person",
    "Place",
    "PlaceFacts",
    "PlannedDuty",
    "ProposedLimit",
    "ReadingPlan",
    "Recorded",
    "Role",
    "Rotor",
    "RotorFitting",
    "Seal",
    "Seat",
    "SetAside",
    "Setting",
    "SettingsRead",
    "Sheet",
    "SheetRow",
    "ShellFitting",
    "ShellHalf",
    "ShellState",
    "Site",
    "Spare",
    "StoredFile",
    "WearClass",
    "WorkHours",
    "folded",
]
