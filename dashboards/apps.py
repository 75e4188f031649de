"""The app of questions over the whole fleet."""

from django.apps import AppConfig


class DashboardsConfig(AppConfig):
    name = "dashboards"
    verbose_name = "questions over the whole fleet"

    def ready(self) -> None:
        from dashboards.outage_plan.jobs import register_work

        register_work()
