"""The database itself refuses to change or remove an entry, whichever way it is tried; triggers come back."""

from collections.abc import Callable

import pytest
from django.apps import apps
from django.core.checks import run_checks
from django.core.management import call_command
from django.db import DatabaseError, connection, migrations, models, transaction
from django.db.migrations.state import ProjectState

from fleet.checks import the_ledger_is_guarded
from fleet.ledger.database_guards import statements, trigger_names
from fleet.ledger.guard import GUARDED, install_guards, missing_guards
from fleet.ledger.roles import grants
from fleet.ledger.seal import seal_now
from fleet.models import Entry, Seal
from tests import makers
from tests.fleet.ledger.story import guards_lifted, told

ENTRY = Entry._meta.db_table


def run(sql: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)


def change(entry: Entry) -> Entry:
    entry.text = entry.text.replace("330.2000", "330.3000")
    return entry


def copied_over(entry: Entry) -> None:
    """INSERT ... SELECT of the row itself, made to replace it."""
    columns = "chain, n, act, kind, thing, by, recorded_at, format, text, hash"
    run(
        f"INSERT OR REPLACE INTO {ENTRY} (id, {columns}) SELECT id, {columns} FROM {ENTRY} WHERE id = %s",
        entry.id,
    )


def copied_over_by(columns_taken: str) -> Callable[[Entry], None]:
    """The same with an id of its own: the row would be replaced through another unique column."""

    def attack(entry: Entry) -> None:
        columns = ["chain", "n", "act", "kind", "thing", "by", "recorded_at", "format", "text", "hash"]
        other = {"chain": "'elsewhere'", "n": "n + 1000", "hash": "'0' || hash"}
        taken = columns_taken.split()
        values = ", ".join(name if name in taken else other.get(name, name) for name in columns)
        run(
            f"INSERT OR REPLACE INTO {ENTRY} ({', '.join(columns)}) SELECT {values} FROM {ENTRY} WHERE id"
            " = %s",
            entry.id,
        )

    return attack


def copy_in_again(entry: Entry) -> None:
    with (
        connection.wrap_database_errors,
        connection.cursor() as cursor,
        cursor.copy(
            f"COPY {ENTRY} (id, chain, n, act, kind, by, recorded_at, format, text, hash) FROM STDIN"
        ) as copy,
    ):
        copy.write_row(
            (entry.id, entry.chain, entry.n, entry.act, entry.kind, entry.by, entry.recorded_at, 1, "{}", "0")
        )


def as_a_replica(entry: Entry) -> None:
    run("SET LOCAL session_replication_role = replica")
    run(f"UPDATE {ENTRY} SET text = '' WHERE id = %s", entry.id)


ANYWHERE: dict[str, Callable[[Entry], object]] = {
    "queryset update": lambda e: Entry.objects.filter(pk=e.pk).update(text="{}"),
    "queryset delete": lambda e: Entry.objects.filter(pk=e.pk).delete(),
    "save": lambda e: change(e).save(),
    "delete": lambda e: Entry.objects.get(pk=e.pk).delete(),
    "bulk_update": lambda e: Entry.objects.bulk_update([change(e)], ["text"]),
    "bulk_create over it": lambda e: Entry.objects.bulk_create(
        [change(e)], update_conflicts=True, unique_fields=["id"], update_fields=["text"]
    ),
    "update_or_create": lambda e: Entry.objects.update_or_create(pk=e.pk, defaults={"text": "{}"}),
    "raw delete of the queryset": lambda e: Entry.objects.filter(pk=e.pk)._raw_delete("default"),
    "UPDATE": lambda e: run(f"UPDATE {ENTRY} SET text = '{{}}' WHERE id = %s", e.id),
    "UPDATE of a copy only": lambda e: run(
        f"UPDATE {ENTRY} SET recorded_at = recorded_at WHERE id = %s", e.id
    ),
    "DELETE": lambda e: run(f"DELETE FROM {ENTRY} WHERE id = %s", e.id),
    "DELETE of all": lambda e: run(f"DELETE FROM {ENTRY}"),
    "INSERT ON CONFLICT DO UPDATE": lambda e: run(
        f"INSERT INTO {ENTRY} (id, chain, n, act, kind, by, recorded_at, format, text, hash) "
        f"SELECT id, chain, n, act, kind, by, recorded_at, format, '', hash FROM {ENTRY} WHERE id = %s "
        "ON CONFLICT (id) DO UPDATE SET text = ''",
        e.id,
    ),
}
ON_SQLITE: dict[str, Callable[[Entry], object]] = {
    "INSERT OR REPLACE by id": copied_over,
    "INSERT OR REPLACE by chain and number": copied_over_by("chain n"),
    "UPDATE OR REPLACE": lambda e: run(f"UPDATE OR REPLACE {ENTRY} SET n = n + 1 WHERE id = %s", e.id),
    "UPDATE OR IGNORE": lambda e: run(f"UPDATE OR IGNORE {ENTRY} SET n = n + 1 WHERE id = %s", e.id),
}
ON_POSTGRESQL: dict[str, Callable[[Entry], object]] = {
    "TRUNCATE": lambda e: run(f"TRUNCATE {ENTRY}"),
    "TRUNCATE CASCADE": lambda e: run(f"TRUNCATE {ENTRY} RESTART IDENTITY CASCADE"),
    "COPY over it": copy_in_again,
    "UPDATE as a replica": as_a_replica,
    "MERGE": lambda e: run(
        f"MERGE INTO {ENTRY} t USING (SELECT %s::bigint AS id) s ON t.id = s.id WHEN MATCHED THEN UPDATE SET"
        " text = ''",
        e.id,
    ),
}
WAYS_ROUND = {**ANYWHERE, **(ON_POSTGRESQL if connection.vendor == "postgresql" else ON_SQLITE)}


@pytest.mark.django_db
@pytest.mark.parametrize("way", WAYS_ROUND)
def test_no_way_round_the_ledger_changes_an_entry(way):
    story = told()
    entry = Entry.objects.get(chain=story.chain, n=2)
    before = list(Entry.objects.order_by("id").values_list())
    with pytest.raises(DatabaseError), transaction.atomic():
        WAYS_ROUND[way](entry)
    assert list(Entry.objects.order_by("id").values_list()) == before


def test_at_least_twelve_ways_are_tried_on_this_database():
    assert len(WAYS_ROUND) >= 12


@pytest.mark.sqlite
@pytest.mark.django_db
def test_insert_or_replace_is_refused_even_where_triggers_do_not_recurse():
    story = told()
    entry = Entry.objects.get(chain=story.chain, n=2)
    run("PRAGMA recursive_triggers = OFF")
    try:
        for attack in (copied_over, copied_over_by("chain n")):
            with pytest.raises(DatabaseError, match="only grows"), transaction.atomic():
                attack(entry)
    finally:
        run("PRAGMA recursive_triggers = ON")


@pytest.mark.django_db
def test_a_refusal_says_what_to_do_instead():
    story = told()
    with pytest.raises(DatabaseError, match="Record a correction instead"), transaction.atomic():
        Entry.objects.filter(chain=story.chain).delete()


@pytest.mark.django_db
def test_a_seal_is_refused_every_change_too():
    story = told()
    seal, _ = seal_now(by=story.by)
    for attack in (
        lambda: Seal.objects.update(root=""),
        lambda: Seal.objects.all().delete(),
        seal.save,
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            attack()
    assert Seal.objects.get().hash == seal.hash


@pytest.mark.django_db
def test_every_guarded_table_has_all_its_triggers():
    assert missing_guards() == []
    n = sum(len(trigger_names(connection.vendor, model._meta.db_table)) for model in GUARDED)
    query = (
        "SELECT count(*) FROM pg_trigger WHERE NOT tgisinternal"
        if connection.vendor == "postgresql"
        else "SELECT count(*) FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        assert cursor.fetchone()[0] == n == (4 if connection.vendor == "postgresql" else 6)


@pytest.mark.django_db
def test_a_missing_trigger_is_told_before_the_site_starts():
    with guards_lifted():
        found = [fault.id for fault in the_ledger_is_guarded(None)]
        assert found[:2] == ["fleet.E002", "fleet.E002"]
    assert "fleet.E002" not in [fault.id for fault in run_checks(databases=["default"])]


@pytest.mark.django_db
def test_installing_the_guards_twice_changes_nothing():
    install_guards()
    with connection.cursor() as cursor:
        for model in GUARDED:
            for statement in statements(connection.vendor, model._meta.db_table, model.GUARDED):
                cursor.execute(statement)
    assert missing_guards() == []


@pytest.mark.django_db(transaction=True)
def test_triggers_lost_when_a_later_migration_rebuilds_the_table_are_back_after_migrate():
    told()
    state = ProjectState.from_apps(apps)
    wider = migrations.AlterField("entry", "kind", models.CharField(max_length=41))
    back = migrations.AlterField("entry", "kind", models.CharField(max_length=40))
    for operation in (wider, back):
        after = state.clone()
        operation.state_forwards("fleet", after)
        with connection.schema_editor() as editor:
            operation.database_forwards("fleet", editor, state, after)
        state = after
    # SQLite makes the table anew and its triggers go with the old one; PostgreSQL alters it in place.
    assert bool(missing_guards()) == (connection.vendor == "sqlite")
    call_command("migrate", verbosity=0)
    assert missing_guards() == []
    with pytest.raises(DatabaseError), transaction.atomic():
        Entry.objects.update(text="{}")


@pytest.mark.postgresql
@pytest.mark.django_db
def test_a_role_with_select_and_insert_only_cannot_change_the_ledger_nor_its_guard():
    told()
    run("CREATE ROLE reads_and_adds")
    run(f"GRANT SELECT, INSERT ON {ENTRY} TO reads_and_adds")
    run("SET LOCAL ROLE reads_and_adds")
    for sql in (
        f"UPDATE {ENTRY} SET text = ''",
        f"DELETE FROM {ENTRY}",
        f"TRUNCATE {ENTRY}",
        f"ALTER TABLE {ENTRY} DISABLE TRIGGER ALL",
        f"DROP TRIGGER {ENTRY}_no_change ON {ENTRY}",
        f"ALTER TABLE {ENTRY} ADD COLUMN more text",
        "SET session_replication_role = replica",
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            run(sql)
    assert the_ledger_is_guarded(None) == []


@pytest.mark.postgresql
@pytest.mark.django_db
def test_a_role_that_may_do_more_is_warned_of():
    assert [fault.id for fault in the_ledger_is_guarded(None)] == ["fleet.W001"]


@pytest.mark.postgresql
@pytest.mark.django_db
def test_every_page_and_a_recording_run_as_the_restricted_role(client):
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    makers.a_reading(bearing=bearing)
    engineer = makers.an_account()
    run("CREATE ROLE runs_the_site")
    call_command("grant_site_role", "runs_the_site", verbosity=0)
    run("SET LOCAL ROLE runs_the_site")
    assert the_ledger_is_guarded(None) == []
    client.force_login(engineer)
    pages = (
        "/",
        "/plan/",
        "/trends/",
        "/quality/",
        "/import/",
        "/method/",
        "/gauges/",
        "/labels/",
        "/bearings/Lift 1/DE/",
        "/bearings/Lift 1/DE/history/",
        "/bearings/Lift 1/DE/record/",
    )
    assert {page: client.get(page).status_code for page in pages} == dict.fromkeys(pages, 200)
    makers.a_reading(bearing=bearing, on=makers.THE_DAY.replace(year=2021))
    with pytest.raises(DatabaseError), transaction.atomic():
        run(f"UPDATE {ENTRY} SET text = ''")


def test_a_role_of_an_odd_name_is_granted_nothing():
    with pytest.raises(ValueError, match="no plain name"):
        grants("site; DROP TABLE fleet_entry")
