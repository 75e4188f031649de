"""The app of what was seen, measured and done at a bearing."""

from django.apps import AppConfig

# Work, not record: no entry commits to it.
BESIDE_THE_RECORD = {
    "what devices were answered (receipts)": ("inspections_devicereceipt",),
    "prints that are being tapped and are not entered yet": ("inspections_tappedcells",),
    "the judgement kept beside a stored forecast, which is worked out anew from the record": (
        "inspections_forecast.judgement",
        "inspections_forecast.judgement_digest",
    ),
}


class InspectionsConfig(AppConfig):
    name = "inspections"
    verbose_name = "what was seen, measured and done at a bearing"

    def ready(self) -> None:
        from fleet.checks import BEFORE_THE_FIRST_PAGE, RECOMPUTED
        from fleet.importing.findings import name_kinds
        from fleet.importing.import_outcome import TELLS
        from fleet.importing.loaders import LOADERS
        from fleet.ledger.committed_rows import LOOKS, NOT_COVERED
        from inspections.forecasts.after_import import outcome_of
        from inspections.forecasts.forecast_jobs import register_work
        from inspections.forecasts.forecast_verification import OTHER_RUNS, stored_forecasts
        from inspections.forecasts.reproduction import told
        from inspections.importing import remark_values
        from inspections.importing.answers import KIND_LEADS, KIND_WORDS
        from inspections.importing.loading import HistoryLoader
        from inspections.records.demo_acts import register_acts
        from inspections.records.entry_kinds import register_kinds
        from inspections.visits.signature_verification import bound_signatures

        BEFORE_THE_FIRST_PAGE.add(_warm)
        LOOKS.add(stored_forecasts, bound_signatures)
        for words, columns in BESIDE_THE_RECORD.items():
            NOT_COVERED.add(words, columns)
        NOT_COVERED.add(OTHER_RUNS, ())  # rows, not columns: those of the run in use are covered
        RECOMPUTED.add(told)
        register_kinds()
        register_acts()
        register_work()
        name_kinds(KIND_WORDS, KIND_LEADS)
        name_kinds(remark_values.KIND_WORDS, remark_values.KIND_LEADS)
        LOADERS.add(HistoryLoader.holds, HistoryLoader())
        TELLS.add(HistoryLoader.holds, outcome_of)


def _warm() -> None:
    """Compile the wear engine before a page waits for it."""
    from inspections.wear.warm_up import warm

    warm()
