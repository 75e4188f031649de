"""What to heed at an open bearing, and the rules that a site names for it: plant data, dated, with a default
marked as shipped.

The shipped words name the rules of one country (29 CFR, United States); a site elsewhere sets its own by the
dated setting `cautions`: {"isolation": "...", "rules": "...", "lead": "...", "work": ["...", ...], "source":
"..."}.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fleet.models import Setting, Site

SETTING = "cautions"
NO_WORK = "This record authorises no work: permit, local codes and licensed practice decide."


@dataclass(frozen=True)
class Cautions:
    """One site's words. `source` says whose they are; `shipped`: that the site has not set its own."""

    isolation: str = (
        "The site's own isolation rules come first; is it isolated, tagged and drained, and stored energy"
        " relieved?"
    )
    rules: str = "29 CFR 1910.147; electric utilities 29 CFR 1910.269(d)"
    lead: str = (
        "Lead-bearing babbitt: no dry sanding, wash before you eat, bag the scrapings (29 CFR 1910.1025). "
        "Solvents: air, no flames."
    )
    work: tuple[str, ...] = (
        (
            "Lift the shaft only as far as the lower half needs; over-lifting harms seals and thrust faces"
            " (maker's practice; rated gear, lifting plan)."
        ),
        (
            "Lint-free rags; no scratches on the journal; a strap wrench, never a pipe wrench (common"
            " practice, no published source)."
        ),
    )
    source: str = "shipped default, rules of the United States; the site may set its own"
    shipped: bool = True
    no_work: str = NO_WORK

    @property
    def first(self) -> str:
        """The isolation rules, with the rules named behind them."""
        return f"{self.isolation} ({self.rules}.)" if self.rules else self.isolation


def cautions_for(site: Site | None, day: dt.date, settings: Any = Setting.objects) -> Cautions:
    """A site's cautions in force on a day, else the plant's, else the shipped ones.

    A setting that is no mapping of words is left aside: a caution must never go missing for a slip of the
    pen.
    """
    return _read(settings.in_force(SETTING, site, day))


def _read(value: Any) -> Cautions:
    """The words set, the shipped ones for what is not set; country references are never carried over.

    >>> _read({"isolation": "Lock, tag, try."}).rules
    ''
    """
    shipped = Cautions()
    if not isinstance(value, Mapping) or not value.get("isolation"):
        return shipped
    work = value.get("work")
    return Cautions(
        isolation=str(value["isolation"]),
        rules=str(value.get("rules", "")),
        lead=str(value.get("lead", "")),
        work=tuple(map(str, work)) if isinstance(work, list) else shipped.work,
        source=str(value.get("source") or "set by this site"),
        shipped=False,
    )
