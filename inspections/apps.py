"""The app of what was seen, measured and done at a bearing."""

from django.apps import AppConfig


class InspectionsConfig(AppConfig):
    name = "inspections"
    verbose_name = "what was seen, measured and done at a bearing"

    def ready(self) -> None:
        from fleet.checks import BEFORE_THE_FIRST_PAGE, RECOMPUTED
        from fleet.importing.findings import name_kinds
        from fleet.importing.loaders import register_loader
        from inspections.demo_acts import register_acts
        from inspections.importing.answering import KIND_LEADS, KIND_WORDS
        from inspections.importing.loading import HistoryLoader
        from inspections.kinds import register_kinds
        from inspections.long_work import register_work
        from inspections.recomputing import told

        BEFORE_THE_FIRST_PAGE.append(_warm)
        RECOMPUTED.append(told)
        register_kinds()
        register_acts()
        register_work()
        name_kinds(KIND_WORDS, KIND_LEADS)
        register_loader(HistoryLoader.holds, HistoryLoader())


def _warm() -> None:
    """Compile the wear engine before a page waits for it."""
    from inspections.wear.warm_up import warm

    warm()
