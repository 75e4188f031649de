"""The plant's kinds of entry, in the order in which their rows point to each other."""

from collections.abc import Sequence

from fleet import models
from fleet.ledger import kinds
from fleet.ledger.commitments import ACCOUNT, NAME, ROWS
from fleet.ledger.kinds import Body, Stamp
from fleet.ledger.outside_seals import TAKEN

CHECKED = "record_checked"  # what a check of the whole record looked at and found


def register_kinds() -> None:
    for name, words, model in (
        ("site", "site", models.Site),
        ("outage", "outage", models.Outage),
        ("place", "pump", models.Place),
        ("place_facts", "facts of a pump", models.PlaceFacts),
        ("planned_duty", "planned duty", models.PlannedDuty),
        ("machine", "pump as a thing", models.Machine),
        ("installation", "pump fitted", models.Installation),
        ("rotor", "rotor", models.Rotor),
        ("rotor_fitting", "rotor fitted", models.RotorFitting),
        ("journal", "journal", models.Journal),
        ("journal_diameter", "journal diameter", models.JournalDiameter),
        ("wear_class", "class of wear", models.WearClass),
        ("bearing", "bearing position", models.Bearing),
        ("bearing_facts", "facts of the bearing", models.BearingFacts),
        ("limit", "limit", models.Limit),
        ("proposed_limit", "proposed limit", models.ProposedLimit),
        ("confirmation", "second person", models.Confirmation),
        ("shell_half", "half of a shell", models.ShellHalf),
        ("shell_fitting", "shell fitted", models.ShellFitting),
        ("shell_state", "state of a shell", models.ShellState),
        ("spare", "spare", models.Spare),
        ("work_hours", "hours of work", models.WorkHours),
        ("name", "name", models.Name),
        ("role", "role", models.Role),
        ("instrument", "gauge", models.Instrument),
        ("calibration", "calibration", models.Calibration),
        ("setting", "plant's choice", models.Setting),
        ("reading_plan", "layout of a sheet", models.ReadingPlan),
        ("sheet", "sheet", models.Sheet),
        ("answer", "answer to a question", models.Answer),
        ("set_aside", "row set aside", models.SetAside),
        ("attachment", "photo or document", models.Attachment),
    ):
        kinds.register(name, words, model)
    kinds.register("name_blanked", "name taken out")
    kinds.register(NAME, "hash of a name")
    kinds.register(ACCOUNT, "way to sign in")
    kinds.register(ROWS, "hash of a sheet's rows")
    kinds.register(TAKEN, "seal taken out")
    kinds.register(CHECKED, "check of the record")
    kinds.register("person", "person")  # the name stands beside the ledger, so that it can be blanked
    kinds.register("withdrawal", "withdrawal", apply=_withdraw)
    kinds.register("revision", "correction", apply=_revise)
    kinds.register("import_withdrawal", "import taken back", apply=_withdraw_import)


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
    """{"sheet", "act", "kinds": {kind: [ids]}, "reason"}: what an import wrote on this chain is withdrawn, in
    one entry.
    """
    for body, stamp in items:
        for name, ids in body["kinds"].items():
            model = kinds.kind(name).model
            if model is None:
                raise LookupError(f"an entry of the kind '{name}' has no row that could be withdrawn")
            for start in range(0, len(ids), 500):
                model._base_manager.filter(pk__in=ids[start : start + 500]).update(withdrawn_by=stamp.act)


def _revise(items: Sequence[tuple[Body, Stamp]]) -> None:
    """{"of": kind, "id": row, "set": {field: value}, "reason": words}: the row takes the values, the ledger
    keeps both.
    """
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
