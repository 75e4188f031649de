"""The app of what the plant owns."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "what the plant owns"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from fleet import checks  # noqa: F401  registers the start-up checks
        from fleet.importing.kinds import register_loaders
        from fleet.kinds import register_kinds
        from fleet.ledger.guard import install_guards

        register_kinds()
        register_loaders()
        post_migrate.connect(
            lambda **_: install_guards(), sender=self, weak=False, dispatch_uid="ledger guards"
        )
