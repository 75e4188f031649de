"""The kinds of entry of what was seen, measured and done, in the order in which their rows point to each other."""

from fleet.ledger import kinds
from inspections import models


def register_kinds() -> None:
    for name, model in (
        ("visit", models.Visit),
        ("attendance", models.Attendance),
        ("reading", models.Reading),
        ("not_measured", models.NotMeasured),
        ("event", models.Event),
        ("meter", models.MeterEntry),
        ("contact_check", models.ContactCheck),
        ("contact_criteria", models.ContactCriteria),
        ("finding", models.Finding),
        ("plan", models.Plan),
        ("decision", models.Decision),
        ("disposition", models.Disposition),
        ("closing", models.Closing),
        ("signature_asked", models.SignatureAsked),
        ("signature", models.Signature),
        ("deferral", models.Deferral),
        ("outside_opening", models.OutsideOpening),
        ("agreement", models.Agreement),
    ):
        kinds.register(name, model)
    kinds.register("forecast_run")  # the run's figures are derived data; the entry holds their hash
    kinds.register("forecast_relied_on")
