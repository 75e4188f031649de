"""One bearing's forecast as figures: what is stored, shown and written to a sheet, each under one name."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fleet.ledger.canonical import canonical_hash

BEYOND = "beyond"
QUANTILES = ("p05", "p10", "p50", "p90", "p95")
# The columns of `forecast --csv`, in their order (lengths um, rates um per 1000 h; see README).
COLUMNS: tuple[str, ...] = (
    "site",
    "pump",
    "position",
    "as_of",
    "readings",
    "last_reading_on",
    "outcome",
    "exposure",
    "own_evidence",
    "rate_um_per_kh_p10",
    "rate_um_per_kh_p50",
    "rate_um_per_kh_p90",
    "clearance_um_p10",
    "clearance_um_p50",
    "clearance_um_p90",
    "in_service_max_um",
    "replace_limit_um",
    "replace_limit_from",
    *(f"replace_date_{q}" for q in QUANTILES),
    *(f"max_date_{q}" for q in QUANTILES),
    "p_replace_now",
    "p_max_now",
    "next_outage",
    "p_max_before_next_outage",
    "p_max_before_following_outage",
    "advice",
    "scrapes_left",
)
# What pages also need of a forecast.
MORE: tuple[str, ...] = (
    "last_reading_um",
    "new_um",
    "advice_reason",
    "surprise",
    "slip_factor",
    "detectable_um_per_kh",
    "hours_per_day",
    "class",
    "next_outage_on",
    "following_outage",
    "following_outage_on",
    "outages_known",
    "n_set_aside",
    "limit_authority",
    "limit_document",
    "replace_authority",
    "population_young",
    "twin",
    "notes",
    "unwritten",
    "unwritten_from",
    "unwritten_until",
    "gauges",
    "exponent",
    "exponent_of",
    "peers_curved",
    "sudden",
)


@dataclass(frozen=True)
class Figures:
    """A forecast's figures by name; dates as `date`, `BEYOND` or None."""

    values: Mapping[str, Any] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        return self.values.get(name)

    def day(self, name: str) -> dt.date | None:
        """The date under a name; None where there is none or where it lies beyond the horizon."""
        value = self.values.get(name)
        return dt.date.fromisoformat(value) if value and value != BEYOND else None

    def is_beyond(self, name: str) -> bool:
        return self.values.get(name) == BEYOND

    @property
    def first_on(self) -> dt.date | None:
        """The 1 in 10 date that orders the work; `date.max` beyond the horizon."""
        return dt.date.max if self.is_beyond("replace_date_p10") else self.day("replace_date_p10")

    def urgency(self) -> tuple[Any, ...]:
        """By the 1 in 10 date; among those past it the surest first, then whatever stands furthest over its
        maximum.

        Chances are compared in hundredths: beyond that they say nothing of what comes first.
        """
        most, now = self["in_service_max_um"], self["clearance_um_p50"]
        return (
            self.first_on or dt.date.max,
            -round(self["p_replace_now"] or 0.0, 2),
            -round(self["p_max_now"] or 0.0, 2),
            self.day("replace_date_p50") or dt.date.max,
            -(now / most) if now and most else 0.0,
        )

    def row(self) -> list[Any]:
        """The values of the forecast sheet's columns, dates as text, figures as numbers."""
        return [self.values.get(name) for name in COLUMNS]


def figures_hash(figures: Figures) -> str:
    """The SHA-256 of a forecast's row, by which a decision names what it relied on."""
    return canonical_hash(figures.row())
