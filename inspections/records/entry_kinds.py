"""The kinds of entry of what was seen, measured and done, in the order in which their rows point to each
other.
"""

from fleet.ledger import kinds
from inspections import models


def register_kinds() -> None:
    for name, words, model in (
        ("visit", "opening", models.Visit),
        ("attendance", "who was there", models.Attendance),
        ("reading", "reading", models.Reading),
        ("not_measured", "not measured", models.NotMeasured),
        ("event", "work and findings", models.Event),
        ("meter", "hour meter", models.MeterEntry),
        ("contact_check", "contact print", models.ContactCheck),
        ("contact_criteria", "criteria of contact", models.ContactCriteria),
        ("finding", "finding", models.Finding),
        ("plan", "outage plan", models.Plan),
        ("decision", "decision", models.Decision),
        ("disposition", "disposition", models.Disposition),
        ("closing", "closing", models.Closing),
        ("signature_asked", "second signature asked for", models.SignatureAsked),
        ("signature", "signature", models.Signature),
        ("deferral", "deferral", models.Deferral),
        ("outside_opening", "opening outside an outage", models.OutsideOpening),
        ("agreement", "agreement", models.Agreement),
    ):
        kinds.register(name, words, model)
    kinds.register(
        "forecast_run", "forecasts of the fleet"
    )  # the run's figures are derived data; the entry holds their hash
    kinds.register("forecast_relied_on", "forecast relied on")
