"""What a decision rests on besides the belief: limits, the class's usual figures, hours, and what a plant
accepts.

Lengths in um (diametral, the larger end), exposure in kh (thousand run hours), rates in um/kh, costs in crew
hours.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray

READY, NO_MAXIMUM, NO_LIFE = 0, 1, 2
MOST_CONSEQUENCE = 4.0  # a pump counts as at most four times the usual (design choice, no published source)
USUAL_RISK, MOST_CRITICAL_RISK = 0.10, 0.05  # defaults; common practice, no published source
LEAST_SD = 3.0  # under which no clearance is read: 1.4 in 1000 of new metal, a design assumption
AT_LEAST_ZERO = (
    "new_sd_um",
    "unevenness_um",
    "scrape_um",
    "scrape_sd_um",
    "open_h",
    "measure_h",
    "scrape_h",
    "replace_h",
    "shell_h",
    "again",
)
ABOVE_ZERO = ("reading_sd_um", "interval_kh", "spread", "bearings", "exponent", "exponent_at_kh")
SHARES = ("memory", "contact_share", "infant")
OPEN_SHARES = ("accepted_risk", "discount")


@dataclass(frozen=True)
class Terms:
    """One figure per bearing: every field is an array (B,); build it with ``terms``.

    ``limit_um`` in-service maximum L (NaN: none stated); ``new_um``, ``new_sd_um`` fitted clearance c0 and
    its sd; ``reading_sd_um`` sd of one visit's reading by the method used there; ``interval_kh`` exposure
    between two outages of such a pump, D; ``log_rate``, ``spread``, ``memory`` of the class's log rates
    (mean, sd between bearings, correlation between lives); ``unevenness_um`` beta, variance of wear per um of
    wear; ``scrape_um``, ``scrape_sd_um`` step of a scrape, J; ``contact_share`` share of openings with a
    contact finding, q; ``open_h`` once per pump of ``bearings`` bearings; ``shell_h`` a shell's price;
    ``accepted_risk`` a; ``consequence`` k; ``infant`` chance that an opening spoils a bearing; ``discount`` a
    usual interval; ``again`` share of the price of a passing for every interval run past; ``exponent`` q of
    wear with age, r X (x/X)^q, and the age X, ``exponent_at_kh``, at which it changes nothing.
    """

    limit_um: FloatArray
    new_um: FloatArray
    new_sd_um: FloatArray
    reading_sd_um: FloatArray
    interval_kh: FloatArray
    log_rate: FloatArray
    spread: FloatArray
    memory: FloatArray
    unevenness_um: FloatArray
    scrape_um: FloatArray
    scrape_sd_um: FloatArray
    contact_share: FloatArray
    open_h: FloatArray
    bearings: FloatArray
    measure_h: FloatArray
    scrape_h: FloatArray
    replace_h: FloatArray
    shell_h: FloatArray
    accepted_risk: FloatArray
    consequence: FloatArray
    infant: FloatArray
    discount: FloatArray
    again: FloatArray
    exponent: FloatArray
    exponent_at_kh: FloatArray

    def __len__(self) -> int:
        """How many bearings."""
        return len(self.limit_um)

    def take(self, chosen: Any) -> Terms:
        """The terms of the chosen bearings (indices or a mask), in that order."""
        return Terms(**{f.name: getattr(self, f.name)[chosen] for f in fields(self)})

    @property
    def standing(self) -> NDArray[np.int8]:
        """(B,) READY, NO_MAXIMUM, or NO_LIFE where the maximum does not lie above the fitted clearance."""
        none = ~np.isfinite(self.limit_um)
        short = ~none & ~(self.limit_um > self.new_um)
        return np.select([none, short], [NO_MAXIMUM, NO_LIFE], READY).astype(np.int8)

    @property
    def room_um(self) -> FloatArray:
        """(B,) from the fitted clearance to the maximum, um; NaN where there is no life or no maximum."""
        room = self.limit_um - self.new_um
        return np.where(self.standing == READY, room, np.nan)

    @property
    def least_reading_um(self) -> FloatArray:
        """(B,) reading under which nothing is measured there: 3 sd below new metal, its spread and the
        reading's.
        """
        return self.new_um - LEAST_SD * np.hypot(self.new_sd_um, self.reading_sd_um)

    @property
    def accepted(self) -> FloatArray:
        """(B,) accepted chance of passing, the consequence counted in: a / k."""
        return self.accepted_risk / self.consequence

    @property
    def life(self) -> FloatArray:
        """(B,) median life in usual intervals between outages, (L - c0) / (exp(mu0) D); NaN where there is
        none.

        Under an exponent the age at which the median rate has worn the room away.
        """
        worn_kh = self.room_um / np.exp(self.log_rate)
        age = self.exponent_at_kh * (worn_kh / self.exponent_at_kh) ** (1.0 / self.exponent)
        return age / self.interval_kh

    @property
    def price_h(self) -> FloatArray:
        """(B,) price of a passing, crew hours, the consequence counted in; NaN where there is no life."""
        return self.consequence * price_of_passing(self)

    @property
    def dearest_h(self) -> FloatArray:
        """(B,) crew hours of the dearest work: shell, its fitting, and the bearing's share of the opening."""
        return self.shell_h + self.replace_h + self.open_h / self.bearings


DEFAULTS: dict[str, float] = {
    "new_sd_um": 7.0,
    "memory": 0.5,
    "unevenness_um": 2.0,
    "contact_share": 0.1,
    "bearings": 2.0,
    "shell_h": 40.0,
    "accepted_risk": USUAL_RISK,
    "consequence": 1.0,
    "infant": 0.0,
    "discount": 0.97,
    "again": 1.0,
    "exponent": 1.0,
    "exponent_at_kh": 40.0,
}


def terms(n: int | None = None, **figures: Any) -> Terms:
    """Terms of n bearings from figures that are numbers or arrays (B,); what is not given takes the default.

    Raises ValueError with a sentence for a figure that is missing, unknown, not finite or out of its bounds;
    only ``limit_um`` may be NaN (no maximum stated). A consequence below the usual counts as the usual.

    >>> t = example_terms(1)
    >>> round(float(t.price_h[0]), 2), round(float(t.life[0]), 2)
    (89.02, 4.49)
    """
    names = [f.name for f in fields(Terms)]
    unknown, missing = (
        sorted(set(figures) - set(names)),
        [k for k in names if k not in {**DEFAULTS, **figures}],
    )
    if unknown or missing:
        wrong = [f"{k} is not one of them" for k in unknown] + [f"{k} is missing" for k in missing]
        raise ValueError(f"The figures of a decision: {', '.join(wrong)}. Known are {', '.join(names)}.")
    given = {k: np.asarray(figures.get(k, DEFAULTS.get(k)), dtype=np.float64) for k in names}
    count = n if n is not None else max((v.size for v in given.values()), default=1)
    arrays = {k: np.broadcast_to(v, (count,)).copy() for k, v in given.items()}
    for name, values in arrays.items():
        _refuse(name, values)
    arrays["consequence"] = np.clip(arrays["consequence"], 1.0, MOST_CONSEQUENCE)
    return Terms(**arrays)


def _refuse(name: str, values: FloatArray) -> None:
    """Raise a sentence for the first figure that cannot be."""
    bad, allowed = ~np.isfinite(values), "a finite number"
    if name == "limit_um":
        bad, allowed = np.isinf(values), "a finite number, or none"
    elif name in AT_LEAST_ZERO:
        bad, allowed = bad | (values < 0), "0 or more"
    elif name in ABOVE_ZERO:
        bad, allowed = bad | (values <= 0), "above 0"
    elif name in SHARES:
        bad, allowed = bad | (values < 0) | (values > 1), "from 0 to 1"
    elif name in OPEN_SHARES:
        bad, allowed = bad | (values <= 0) | (values >= 1), "between 0 and 1"
    if bad.any():
        i = int(np.argmax(bad))
        raise ValueError(
            f"{name} of bearing {i} is {values[i]:g}; allowed is {allowed}. Correct it where it is kept."
        )


def example_terms(n: int | None = None, **figures: Any) -> Terms:
    """Terms of n bearings like the one that the examples of this package speak of: a shell of 130 um fitted
    clearance, maximum 260 um, wearing 2.2 um/kh; ``figures`` take the place of its own.
    """
    usual = {
        "limit_um": 260,
        "new_um": 130,
        "reading_sd_um": 10,
        "interval_kh": 13.15,
        "log_rate": np.log(2.2),
        "spread": 0.6,
        "scrape_um": 12,
        "scrape_sd_um": 6,
        "open_h": 8,
        "measure_h": 4,
        "scrape_h": 6,
        "replace_h": 16,
    }
    return terms(n, **(usual | figures))


def price_of_passing(t: Terms) -> FloatArray:
    """W(a) (B,), crew hours, of a bearing of usual consequence: what passing the maximum is taken to cost.

    ``(S + replace + open/n) / life / a / (1 + again/2)``: the price at which, at chance a, waiting an
    interval costs what it saves: a W (1 + again/2) against one interval's share of the work of a life (own
    derivation, checked by simulation). NaN where there is no maximum or no life.

    >>> t = example_terms(4, accepted_risk=[0.02, 0.05, 0.1, 0.2])
    >>> price_of_passing(t).round(2).tolist()
    [445.08, 178.03, 89.02, 44.51]
    """
    return t.dearest_h / t.life / t.accepted_risk / (1.0 + 0.5 * t.again)


def consequence(money: Any) -> FloatArray:
    """Consequence factor k (P,) of pumps from the money a failure of each costs: against the median, held to
    1 to 4.

    Pumps without a stated figure (NaN, or not above 0) count as usual, and so does a pump below the median.

    >>> consequence([1000.0, 2000.0, 5000.0, 90000.0, np.nan]).tolist()
    [1.0, 1.0, 1.4285714285714286, 4.0, 1.0]
    """
    stated = np.asarray(money, dtype=np.float64)
    known = np.isfinite(stated) & (stated > 0)
    if not known.any():
        return np.ones(stated.shape)
    ratio = np.where(known, stated, 0.0) / np.median(stated[known])
    return np.where(known, np.clip(ratio, 1.0, MOST_CONSEQUENCE), 1.0)


def accepted_risks(
    criticality: Sequence[str], stated: Mapping[str, float], most_critical: Collection[str] = ()
) -> FloatArray:
    """Accepted chance of passing (B,) by the plant's own words of criticality, matched without case.

    What the plant has ``stated`` for a word stands; else 5 % for its ``most_critical`` words and 10 % for all
    others. Raises ValueError for a stated chance outside 0 to 1.

    >>> accepted_risks(["A", "b", "", "C"], {"c": 0.2}, ["a"]).tolist()
    [0.05, 0.1, 0.1, 0.2]
    """
    wrong = [f"{word}: {share:g}" for word, share in stated.items() if not 0.0 < share < 1.0]
    if wrong:
        raise ValueError(
            f"Accepted risk of {', '.join(wrong)}; allowed is a share between 0 and 1, as 0.1 for 10 %."
        )
    known = {word.casefold(): share for word, share in stated.items()}
    most = {word.casefold() for word in most_critical}
    return np.array(
        [
            known.get(w.casefold(), MOST_CRITICAL_RISK if w.casefold() in most else USUAL_RISK)
            for w in criticality
        ]
    )
