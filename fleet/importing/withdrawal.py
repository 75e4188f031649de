"""An import taken back whole, in one act: its rows stay in the ledger, marked, and may come again."""

import uuid
from collections import defaultdict

from django.db import transaction
from django.db.models import ForeignKey

from fleet.ledger import kinds
from fleet.ledger.writing import Fact, write
from fleet.models import Recorded, Sheet, SheetRow
from fleet.plant.acts import Refused

# What an import of a history makes; spellings learnt with it, persons and instruments stay.
TAKEN_BACK = ("visit", "reading", "event", "meter", "shell_fitting", "set_aside", "answer", "sheet")
# Pumps and bearings nobody had registered are made with it, and go with it unless something else has come to
# lean on them. A site made with it stays: its name is taken once and for all, and roles may hold there.
MADE_WITH = (
    "place",
    "machine",
    "installation",
    "rotor",
    "rotor_fitting",
    "journal",
    "bearing",
)


def withdraw_import(sheet: Sheet, *, reason: str, by: uuid.UUID) -> uuid.UUID:
    """Withdraw everything an import brought.

    Parameters
    ----------
    sheet : Sheet
        of a history; other sheets describe things and are mended by bringing them again.
    reason : str
        why, kept in every chain concerned.
    by : UUID
        the person's inner id.

    Returns
    -------
    UUID
        the act: one entry on each chain.

    Raises
    ------
    Refused
        without a reason, for another kind of sheet, or for one withdrawn before.
    """
    if sheet.holds != Sheet.Holds.HISTORY:
        raise Refused("Only a history is withdrawn whole. Bring this sheet again with what should stand.")
    if sheet.withdrawn_by:
        raise Refused("This import was withdrawn already.")
    if not reason.strip():
        raise Refused("A reason is needed: say in a few words why the import is taken back.")
    act = uuid.uuid4()
    with transaction.atomic():
        by_chain: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
        models = {name: model for name in TAKEN_BACK if (model := kinds.kind(name).model) is not None}
        for name, model in models.items():
            rows = model._base_manager.filter(act=sheet.act, withdrawn_by__isnull=True)
            shared = _leaned_on(model, sheet) if name == "visit" else set()
            for pk, chain in rows.values_list("pk", "chain"):
                if pk not in shared:
                    by_chain[chain][name].append(str(pk))
        for name, row in _made_alone(sheet):
            by_chain[row.chain][name].append(str(row.pk))
        body = {"sheet": str(sheet.pk), "act": str(sheet.act), "reason": reason.strip()}
        facts = [
            Fact(chain, "import_withdrawal", body=body | {"kinds": dict(some)})
            for chain, some in sorted(by_chain.items())
        ]
        write(facts, by=by, act=act)
        SheetRow.objects.filter(sheet=sheet).delete()
    return act


def _leaned_on(model: type[Recorded], sheet: Sheet) -> set[uuid.UUID]:
    """Visits of this import that rows of other acts belong to: they stay."""
    leaned: set[uuid.UUID] = set()
    own = model._base_manager.filter(act=sheet.act, withdrawn_by__isnull=True)
    for relation in model._meta.related_objects:
        field = relation.field
        if isinstance(field, ForeignKey) and issubclass(relation.related_model, Recorded):
            others = relation.related_model._base_manager.filter(
                **{f"{field.name}__in": own}, withdrawn_by__isnull=True
            )
            leaned.update(others.exclude(act=sheet.act).values_list(field.attname, flat=True))
    return leaned


def _made_alone(sheet: Sheet) -> list[tuple[str, Recorded]]:
    """Pumps and bearings of this import on which nothing of another act leans, nor on what hangs together
    with them.
    """
    rows: dict[uuid.UUID, tuple[str, Recorded]] = {}
    leaned: set[uuid.UUID] = set()
    for name in MADE_WITH:
        model = kinds.kind(name).model
        if model is None:
            continue
        own = model._base_manager.filter(act=sheet.act, withdrawn_by__isnull=True)
        rows |= {row.pk: (name, row) for row in own}
        leaned |= _leaned_on(model, sheet)
    beside: dict[uuid.UUID, set[uuid.UUID]] = defaultdict(set)
    for pk, (_, row) in rows.items():
        for field in row._meta.concrete_fields:
            other = getattr(row, field.attname)
            if isinstance(field, ForeignKey) and other in rows:
                beside[pk].add(other)
                beside[other].add(pk)
    kept: set[uuid.UUID] = set()
    waiting = list(leaned)
    while waiting:
        pk = waiting.pop()
        if pk not in kept:
            kept.add(pk)
            waiting += beside[pk]
    return [pair for pk, pair in rows.items() if pk not in kept]
