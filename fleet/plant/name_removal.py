"""A person's name taken out of the record where the law asks for it; what they did stays."""

from uuid import UUID

from django.db import transaction

from fleet.ledger.writing import Fact, write
from fleet.models import Account, Person
from fleet.plant.acts import PLANT
from fleet.plant.people import tell_state


@transaction.atomic
def blank_name(*, person: Person, by: UUID) -> None:
    """Take a person's name out where the law asks for it: no entry changes, for entries hold the inner id
    alone.

    The way to sign in closes. Sheets that were imported are kept as they came and may hold the name.
    """
    write([Fact(PLANT, "name_blanked", body={"person": person.pk})], by=by)
    Person.objects.filter(pk=person.pk).update(name="", folded="", employer="", salt="")
    Account.objects.filter(person=person).update(username=f"removed {person.pk.hex[:12]}", is_active=False)
    for account in Account.objects.filter(person=person).select_related("person"):
        tell_state(account, "closed, its name taken out", by=by)
