"""The app of what the plant owns."""

from django.apps import AppConfig


class FleetConfig(AppConfig):
    name = "fleet"
    verbose_name = "what the plant owns"

    def ready(self) -> None:
        from django.contrib.auth.signals import user_logged_in
        from django.db.models.signals import post_migrate

        from fleet import (
            background_jobs,
            checks,  # noqa: F401  it registers the start-up checks
        )
        from fleet.importing.sheet_kinds import register_loaders
        from fleet.ledger.committed_rows import LOOKS
        from fleet.ledger.guard import install_guards
        from fleet.plant import record_checks
        from fleet.plant.entry_kinds import register_kinds
        from fleet.plant.required_factor import required_factors
        from fleet.web import audit_log, sessions

        LOOKS.add(required_factors)
        audit_log.listen()
        background_jobs.register(
            record_checks.WORK, "checking the whole record", record_checks.check, right=record_checks.RIGHT
        )
        user_logged_in.connect(sessions.note_the_start, dispatch_uid="session began")
        register_kinds()
        register_loaders()
        post_migrate.connect(
            lambda **_: install_guards(), sender=self, weak=False, dispatch_uid="ledger guards"
        )
