"""Names, accounts and known rows that are on file get the entries that commit to them."""

from django.db import migrations

from fleet.ledger.commitments import ACCOUNT, NAME, ROWS, account_body, name_body, new_salt, rows_body
from fleet.ledger.writing import Fact, write


def commit(apps, schema_editor):
    """One act by the first person on file; a record without people has nothing to commit to."""
    people = list(apps.get_model("fleet", "Person").objects.order_by("created_at", "pk"))
    if not people:
        return
    facts = []
    for person in people:
        if person.name and not person.salt:
            person.salt = new_salt()
            person.save(update_fields=["salt"])
        if person.name:
            facts.append(Fact("plant", NAME, body=name_body(person)))
    salts = {person.pk: person.salt for person in people}
    for account in apps.get_model("fleet", "Account").objects.order_by("pk"):
        body = account_body(account, salts[account.person_id], "on file at the upgrade")
        facts.append(Fact("plant", ACCOUNT, body=body))
    known = apps.get_model("fleet", "SheetRow").objects
    for sheet in apps.get_model("fleet", "Sheet").objects.filter(rows__isnull=False).distinct():
        rows = list(known.filter(sheet=sheet).values_list("number", "site", "key", "digest"))
        facts.append(Fact(sheet.chain, ROWS, body=rows_body(sheet.pk, rows)))
    write(facts, by=people[0].pk)


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0009_person_salt"),
    ]

    operations = [migrations.RunPython(commit, migrations.RunPython.noop)]
