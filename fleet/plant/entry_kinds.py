"""The plant's kinds of entry, in the order in which their rows point to each other."""

from collections.abc import Sequence

from fleet import models
from fleet.ledger import kinds
from fleet.ledger.commitments import ACCOUNT, NAME, ROWS
from fleet.ledger.kinds import Body, Stamp


def register_kinds() -> None:
    for name, model in (
        ("site", models.Site),
        ("outage", models.Outage),
        ("place", models.Place),
        ("place_facts", models.PlaceFacts),
        ("planned_duty", models.PlannedDuty),
        ("machine", models.Machine),
        ("installation", models.Installation),
        ("rotor", models.Rotor),
        ("rotor_fitting", models.RotorFitting),
        ("journal", models.Journal),
        ("journal_diameter", models.JournalDiameter),
        ("wear_class", models.WearClass),
        ("bearing", models.Bearing),
        ("bearing_facts", models.BearingFacts),
        ("limit", models.Limit),
        ("proposed_limit", models.ProposedLimit),
        ("confirmation", models.Confirmation),
        ("shell_half", models.ShellHalf),
        ("shell_fitting", models.ShellFitting),
        ("shell_state", models.ShellState),
        ("spare", models.Spare),
        ("work_hours", models.WorkHours),
        ("name", models.Name),
        ("role", models.Role),
        ("instrument", models.Instrument),
        ("calibration", models.Calibration),
        ("setting", models.Setting),
        ("reading_plan", models.ReadingPlan),
        ("sheet", models.Sheet),
        ("answer", models.Answer),
        ("set_aside", models.SetAside),
        ("attachment", models.Attachment),
    ):
        kinds.register(name, model)
    kinds.register("name_blanked")
    for beside in (NAME, ACCOUNT, ROWS):
        kinds.register(beside)
    kinds.register("person")  # the name stands beside the ledger, so that it can be blanked
    kinds.register("withdrawal", apply=_withdraw)
    kinds.register("revision", apply=_revise)
    kinds.register("import_withdrawal", apply=_withdraw_import)


def _withdraw(items: Sequence[tuple[Body, Stamp]]) -> None:
    """{"of": kind, "id": row, "reason": words}: the row stays, marked with the act that withdrew it."""
    by_kind: dict[tuple[str, object], list[str]] = {}
    for body, stamp in items:
        by_kind.setdefault((body["of"], stamp.act), []).append(body["id"])
    for (of, act), ids in by_kind.items():
        model = kinds.kind(of).model
        if model is None:
            raise LookupError(f"an entry of the kind '{of}' has no row that could be withdrawn")
        for start in range(0, len(ids), 500):
            model._base_manager.filter(pk__in=ids[start : start + 500]).update(withdrawn_by=act)


def _withdraw_import(items: Sequence[tuple[Body, Stamp]]) -> None:
    """{"sheet", "act", "kinds": {kind: [ids]}, "reason"}: what an import wrote on this chain is withdrawn, in one entry."""
    for body, stamp in items:
        for name, ids in body["kinds"].items():
            model = kinds.kind(name).model
            if model is None:
                raise LookupError(f"an entry of the kind '{name}' has no row that could be withdrawn")
            for start in range(0, len(ids), 500):
                model._base_manager.filter(pk__in=ids[start : start + 500]).update(withdrawn_by=stamp.act)


def _revise(items: Sequence[tuple[Body, Stamp]]) -> None:
    """{"of": kind, "id": row, "set": {field: value}, "reason": words}: the row takes the values, the ledger keeps both."""
    for body, _ in items:
        model = kinds.kind(body["of"]).model
        if model is None:
            raise LookupError(f"an entry of the kind '{body['of']}' has no row that could be revised")
        known = {f.attname: f for f in kinds.kind(body["of"]).fields}
        values = {
            name: None if value is None else known[name].to_python(value)
            for name, value in body["set"].items()
        }
        model._base_manager.filter(pk=body["id"]).update(**values)
