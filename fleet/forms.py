"""The forms of what the plant owns. Each says what is allowed, before and after."""

from typing import Any

from django import forms

from fleet.access import may, sites_for, sites_of
from fleet.importing.kept_files import plan_names
from fleet.importing.loaders import loaders
from fleet.importing.options import Options
from fleet.models import Account, Sheet
from fleet.sheets.files import MOST_BYTES, MOST_ROWS_OF_PAGE
from fleet.units import BadDateFormat, day_patterns

# What a sheet of each kind needs; planners bring what they plan with.
ACT_OF = {
    Sheet.Holds.REGISTER.value: "import",
    Sheet.Holds.HISTORY.value: "import",
    Sheet.Holds.OUTAGES.value: "import plans",
    Sheet.Holds.SPARES.value: "import plans",
    Sheet.Holds.WORK_HOURS.value: "import plans",
    Sheet.Holds.PLANNED_DUTY.value: "import plans",
}


def kinds_for(account: Account) -> list[tuple[str, str]]:
    """The kinds of sheet an account may bring, at some site at least."""
    return [
        (holds, str(Sheet.Holds(holds).label).capitalize())
        for holds in loaders()
        if may(account, ACT_OF[holds])
    ]


NEW_PLAN = "~new"


class SheetForm(forms.Form):
    """One sheet to bring, and what is declared about it as a whole."""

    kind = forms.ChoiceField(
        label="What the sheet holds",
        error_messages={
            "required": "Choose what the sheet holds.",
            "invalid_choice": "Choose one of the kinds of sheet listed.",
        },
    )
    file = forms.FileField(
        label="The sheet",
        help_text=(
            "A workbook (XLSX, XLS, ODS) or a CSV, at most 50 MB and 30 000 rows. A history may have any"
            " layout and many tabs; other sheets have the headings of the template, in the first tab."
        ),
        max_length=200,
        error_messages={
            "required": "Choose the file to bring.",
            "empty": "The file is empty. Choose one with a heading row and rows below it.",
            "max_length": "The file's name is longer than 200 characters. Give it a shorter one.",
        },
    )
    date_format = forms.CharField(
        label="How dates are written",
        required=False,
        max_length=60,
        help_text=(
            "Leave empty for 2026-03-09, 2026-03 or 2026. Otherwise the one way the whole file writes them, "
            "such as DD/MM/YYYY or MM/YYYY; several are parted by |. The order is never guessed."
        ),
    )
    decimal = forms.ChoiceField(
        label="Decimal mark",
        choices=[("point", "a point: 0.15"), ("comma", "a comma: 0,15")],
        initial="point",
        required=False,
    )
    plan = forms.ChoiceField(
        label="How its columns are read",
        required=False,
        help_text=(
            "Leave it so the first time. Where a history has headings of its own you are shown its first rows"
            " with a guess of what each column holds; the plan is kept by name for the next time."
        ),
        error_messages={"invalid_choice": "Choose one of the plans kept, or the template's headings."},
    )
    site = forms.ChoiceField(
        label="Site of rows that name none",
        required=False,
        help_text="Only needed where the sheet has no site column.",
        error_messages={"invalid_choice": "Choose one of your sites, or none."},
    )
    set_aside = forms.CharField(
        label="Reason for setting rows aside",
        required=False,
        max_length=300,
        help_text=(
            "Leave empty to see every open question. With a reason, rows that have open questions are kept"
            " word for word and used for nothing, and the rest is stored. Faults are never set aside."
        ),
    )
    only_check = forms.BooleanField(label="Only check the sheet; store nothing", required=False)

    def __init__(self, *args: Any, account: Account, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kinds = kinds_for(account)
        acts = {ACT_OF[holds] for holds, _ in kinds}
        sites = {site.name for act in acts for site in sites_for(account, act)}
        self.fields["kind"].choices = [("", "choose"), *kinds]  # type: ignore[attr-defined]
        self.fields["site"].choices = [("", "none"), *((name, name) for name in sorted(sites))]  # type: ignore[attr-defined]
        kept = [(name, f"by the plan '{name}'") for name in plan_names(sites_of(account, "import"))]
        plans = [
            ("", "by its headings; I am asked where they are not the template's"),
            *kept,
            (NEW_PLAN, "show me its columns, I say what they hold"),
        ]
        self.fields["plan"].choices = plans  # type: ignore[attr-defined]
        self.fields["file"].widget.attrs["accept"] = ".csv,.txt,.tsv,.xlsx,.xls,.ods"

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            most = MOST_BYTES // 1_000_000
            raise forms.ValidationError(
                f"The file has {file.size // 1_000_000} MB; at most {most} MB are read. Split it."
            )
        return file

    def clean_date_format(self) -> str:
        declared = self.cleaned_data["date_format"].strip()
        if declared:
            try:
                day_patterns(declared)
            except BadDateFormat as error:
                raise forms.ValidationError(f"{error}.") from None
        return declared

    def options(self) -> Options:
        """What was declared, once the form is valid."""
        said = self.cleaned_data
        return Options(
            site=said["site"],
            plan="" if said["plan"] == NEW_PLAN else said["plan"],
            date_format=said["date_format"],
            decimal_comma=said["decimal"] == "comma",
            set_aside=said["set_aside"].strip(),
            dry_run=said["only_check"],
            most_rows=MOST_ROWS_OF_PAGE,
        )
