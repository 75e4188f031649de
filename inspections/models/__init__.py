"""What was seen, measured and done at a bearing. Import from here.

Inside, files stand in one direction: visit, reading, event, closing, decision, deferral, signature, forecast;
receipt and tapped stand apart.
"""

from inspections.models.closing import Closing, Disposition
from inspections.models.decision import Decision, DraftPlan, Plan
from inspections.models.deferral import Agreement, Deferral, OutsideOpening
from inspections.models.event import (
    EFFECTS,
    NO_VISIT,
    WHAT_WAS_DONE,
    WHOLE_PUMP,
    WORK,
    ContactCheck,
    ContactCriteria,
    Effect,
    Event,
    EventKind,
    Finding,
    MeterEntry,
    Outcome,
    Reason,
)
from inspections.models.forecast import Forecast, ForecastRun
from inspections.models.reading import (
    BOUNDS_UM,
    Basis,
    End,
    NotMeasured,
    Quantity,
    Reading,
    Stage,
    reading_columns,
)
from inspections.models.receipt import DeviceReceipt
from inspections.models.signature import Signature, SignatureAsked
from inspections.models.tapped import TappedCells
from inspections.models.visit import Attendance, Precision, Visit

__all__ = [
    "BOUNDS_UM",
    "EFFECTS",
    "NO_VISIT",
    "WHAT_WAS_DONE",
    "WHOLE_PUMP",
    "WORK",
    "Agreement",
    "Attendance",
    "Basis",
    "Closing",
    "ContactCheck",
    "ContactCriteria",
    "Decision",
    "Deferral",
    "DeviceReceipt",
    "Disposition",
    "DraftPlan",
    "Effect",
    "End",
    "Event",
    "EventKind",
    "Finding",
    "Forecast",
    "ForecastRun",
    "MeterEntry",
    "NotMeasured",
    "Outcome",
    "OutsideOpening",
    "Plan",
    "Precision",
    "Quantity",
    "Reading",
    "Reason",
    "Signature",
    "SignatureAsked",
    "Stage",
    "TappedCells",
    "Visit",
    "reading_columns",
]
