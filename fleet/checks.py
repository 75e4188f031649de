"""What is looked at before the site starts."""

import logging
from collections.abc import Callable, Iterable
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.utils import DatabaseError

from fleet.registry import InOrder

log = logging.getLogger("fleet")
NEAR = frozenset({"", "localhost", "127.0.0.1", "::1"})
# What an app wants done before the first page is asked for; added to in its ready().
BEFORE_THE_FIRST_PAGE = InOrder[Callable[[], object]]()
# What `verify_records --forecasts` also works out anew: each yields what it found, `True` where something was
# altered.
RECOMPUTED = InOrder[Callable[[], Iterable[tuple[str, bool]]]]()


def before_serving() -> None:
    """Look at the clock and the ledger's guard when a server starts, which runs no checks of its own.

    A fault stops the start; a warning goes to the log.
    """
    found = [
        *the_clock_is_utc(None),
        *the_proxies_are_counted(None),
        *the_ledger_is_guarded(None),
        *what_is_answered_is_kept(None),
        *the_database_is_spoken_to_in_secret(None),
    ]
    if not connection.in_atomic_block:  # a server that forks must not take this connection along
        connection.close()
    for message in found:
        if not message.is_serious():
            log.warning("%s %s (%s)", message.msg, message.hint or "", message.id)
    faults = [f"{message.msg} {message.hint or ''}".strip() for message in found if message.is_serious()]
    if faults:
        raise ImproperlyConfigured("The site does not start. " + " ".join(faults))
    for task in BEFORE_THE_FIRST_PAGE:
        task()


@register()
def the_clock_is_utc(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    if settings.TIME_ZONE != "UTC" or not settings.USE_TZ:
        return [
            Error(
                "The site's own clock must be UTC.",
                hint="Set TIME_ZONE = 'UTC', USE_TZ = True.",
                id="fleet.E001",
            )
        ]
    return []


@register(Tags.security)
def the_proxies_are_counted(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    """Behind a proxy that is not counted everybody has one address: ten wrong passwords of one shut the name
    for all.
    """
    if not settings.BEHIND_TLS_PROXY or settings.PROXIES:
        return []
    hint = (
        "Set PROXIES to how many proxies of your own stand before the site, each adding to X-Forwarded-For."
    )
    return [
        Warning("A proxy ends TLS, and every client seems to have its address.", hint=hint, id="fleet.W004")
    ]


@register(Tags.database)
def the_ledger_is_guarded(
    app_configs: object, databases: object = None, **kwargs: object
) -> list[CheckMessage]:
    """The triggers are there; on PostgreSQL the site's role may only read and add."""
    from fleet.ledger.guard import missing_guards
    from fleet.models.ledger import Entry

    try:
        if Entry._meta.db_table not in connection.introspection.table_names():
            return []
        found: list[CheckMessage] = [
            Error(f"{table} can be changed.", hint="Run manage.py migrate.", id="fleet.E002")
            for table in missing_guards()
        ]
        if connection.vendor == "postgresql":
            found += _too_much_allowed(Entry._meta.db_table)
        return found
    except DatabaseError as trouble:
        return [Warning(f"The ledger's guard could not be looked at: {trouble}", id="fleet.W003")]


@register(Tags.database)
def what_is_answered_is_kept(
    app_configs: object, databases: object = None, **kwargs: object
) -> list[CheckMessage]:
    """A database that does not wait for its disk answers "stored" before it is: a power cut then takes it
    away.
    """
    try:
        with connection.cursor() as cursor:
            careless = [
                f"{name} = off" for name, value in _how_it_keeps(cursor).items() if value in ("off", 0)
            ]
    except DatabaseError as trouble:
        return [
            Warning(f"How the database keeps what it stores could not be read: {trouble}", id="fleet.W006")
        ]
    if not careless:
        return []
    words = f"The database does not wait for its disk ({', '.join(careless)})."
    hint = "Turn it on: what the site answered as stored may be lost when the machine stops."
    return [Warning(words, hint=hint, id="fleet.W005")]


@register(Tags.security)
def the_database_is_spoken_to_in_secret(app_configs: object, **kwargs: object) -> list[CheckMessage]:
    """A database on another machine is reached under its certificate: all of the record goes that way."""
    database = settings.DATABASES["default"]
    host = str(database.get("HOST") or "")
    if database["ENGINE"] != "django.db.backends.postgresql" or host.startswith("/") or host in NEAR:
        return []
    options = database["OPTIONS"] if "OPTIONS" in database else {}  # noqa: SIM401 (no setting of the site)
    if options.get("sslmode") == "verify-full":
        return []
    words = f"The database on {host} is spoken to without holding it to its certificate."
    hint = "Add ?sslmode=verify-full to DATABASE_URL, and give the certificate that signed its own."
    return [Warning(words, hint=hint, id="fleet.W007")]


def _how_it_keeps(cursor: Any) -> dict[str, Any]:
    """The settings that a kept answer rests on, by name."""
    if connection.vendor == "postgresql":
        cursor.execute(
            "SELECT name, current_setting(name) FROM pg_settings "
            "WHERE name IN ('fsync', 'full_page_writes', 'synchronous_commit') ORDER BY name"
        )
        return dict(cursor.fetchall())
    cursor.execute("PRAGMA synchronous")
    return {"synchronous": cursor.fetchone()[0]}


def _too_much_allowed(table: str) -> list[CheckMessage]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT has_table_privilege(%s, 'UPDATE') OR has_table_privilege(%s, 'DELETE') "
            "OR has_table_privilege(%s, 'TRUNCATE')",
            [table, table, table],
        )
        if not cursor.fetchone()[0]:
            return []
    hint = (
        "Run the site as a role with SELECT and INSERT only; give DATABASE_OWNER_URL for migrate and restore."
    )
    return [Warning(f"The database role of this site may change {table}.", hint=hint, id="fleet.W001")]
