"""A site's own words of caution at an open bearing."""

from typing import Any

from django import forms

from inspections.visits.cautions import Cautions


def _words(label: str, help_text: str, *, required: bool = False, rows: int = 2) -> forms.CharField:
    return forms.CharField(
        label=label,
        help_text=help_text,
        required=required,
        max_length=600,
        widget=forms.Textarea(attrs={"rows": rows}),
        error_messages={"required": "Say what comes first at an open bearing."},
    )


class CautionsForm(forms.Form):
    """What is shown once per visit and at the step it belongs to; the site's own rules stand before any of
    ours.
    """

    isolation = _words(
        "Before anything else", "The site's isolation rules, in a sentence or two.", required=True
    )
    rules = _words(
        "Rules named behind it", "Laws, codes or procedures that hold here; empty: none are named.", rows=1
    )
    lead = _words("Lead, dust and solvents", "Lead-bearing babbitt, scrapings, cleaning.")
    work = _words("At the work", "One to a line: lifting, rags, wrenches.", rows=4)
    source = forms.CharField(
        label="Whose words these are",
        required=False,
        max_length=120,
        help_text="Such as works instruction 12, or the safety engineer.",
    )

    def value(self) -> dict[str, Any]:
        """What is kept; what was left empty is left out."""
        said = {name: text.strip() for name, text in self.cleaned_data.items() if text.strip()}
        kept: dict[str, Any] = dict(said)
        if "work" in said:
            kept["work"] = [line.strip() for line in said["work"].splitlines() if line.strip()]
        return kept


def as_shown(cautions: Cautions) -> dict[str, str]:
    """What the form shows first: the words that hold now."""
    return {
        "isolation": cautions.isolation,
        "rules": cautions.rules,
        "lead": cautions.lead,
        "work": "\n".join(cautions.work),
        "source": "" if cautions.shipped else cautions.source,
    }
