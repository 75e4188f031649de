"""The database itself refuses to change or remove an entry or a seal."""

from django.db import migrations

from fleet.ledger.database_guards import statements

GUARDED = {"fleet_entry": ("chain n",), "fleet_seal": ("n", "hash")}


def guard(apps, schema_editor):
    for table, unique in GUARDED.items():
        for statement in statements(schema_editor.connection.vendor, table, unique):
            schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial")]
    operations = [migrations.RunPython(guard, migrations.RunPython.noop)]
