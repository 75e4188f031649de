"""The app of questions over the whole fleet."""

from django.apps import AppConfig


class DashboardsConfig(AppConfig):
    name = "dashboards"
    verbose_name = "questions over the whole fleet"

    def ready(self) -> None:
        from dashboards.outage_plan.jobs import register_work
        from fleet.ledger.committed_rows import NOT_COVERED

        NOT_COVERED.add(
            "the plan in hand and its kept versions, until it is accepted", ("inspections_draftplan",)
        )
        register_work()
