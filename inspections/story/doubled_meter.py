"""Years in which a pump's hour meter counted about twice the hours a day of all its other years.

Plain numbers in and out (numpy), no database.
"""

from dataclasses import dataclass

import numpy as np

from inspections.story.exposure import RUN_HOURS, Exposure, FloatArray

# A judgement, no published source: gaps are joined to half a year, so that seasons look like no fault;
# both stretches have to last; each runs as evenly as this, in the log of its hours a day; and two is met so
# nearly.
JOINED_DAYS, LEAST_DAYS = 180.0, 540.0
EVEN_LOG_SD, NEAR_LOG = 0.1, 0.14
IMPOSSIBLE = 24.5  # hours a day; a little over 24, for entries are written by the day


@dataclass(frozen=True)
class Doubled:
    """Ordinals between which the meter counted ``inside`` hours a day; ``outside``: in all other years."""

    begins: float
    ends: float
    inside: float
    outside: float

    @property
    def impossible(self) -> bool:
        """Whether it counted more hours than a day has."""
        return self.inside > IMPOSSIBLE


def doubled(run: Exposure) -> Doubled | None:
    """The one stretch of years in which a meter counted about twice what it counted before and after.

    Parameters
    ----------
    run : Exposure
        of a pump with an hour meter; any other clock has none.

    Returns
    -------
    Doubled or None
        none where no stretch stands out so, or where the hours a day wander too much for one to.

    Examples
    --------
    >>> year = 365.25
    >>> hours = np.cumsum([0, 10, 10, 20, 20, 20, 10, 10]) * year
    >>> found = doubled(Exposure(700000 + year * np.arange(8), hours, 10.0, 10.0))
    >>> [float((at - 700000) / year) for at in (found.begins, found.ends)]
    [2.0, 5.0]
    >>> round(found.inside / found.outside, 6)
    2.0
    """
    if run.clock != RUN_HOURS:
        return None
    days, hours = _joined(run)
    widths, gains = np.diff(days), np.diff(hours)
    if len(widths) < 2 or np.any(gains <= 0):
        return None
    logs = np.log(gains / widths)
    best: Doubled | None = None
    least = EVEN_LOG_SD
    for first in range(len(widths)):
        for last in range(first, len(widths)):
            inside = np.zeros(len(widths), dtype=bool)
            inside[first : last + 1] = True
            if min(widths[inside].sum(), widths[~inside].sum()) < LEAST_DAYS:
                continue
            high, low = (np.average(logs[part], weights=widths[part]) for part in (inside, ~inside))
            rest = np.sqrt(np.average((logs - np.where(inside, high, low)) ** 2, weights=widths))
            if rest < least and abs(high - low - np.log(2.0)) < NEAR_LOG:
                span = float(days[first]), float(days[last + 1])
                best, least = Doubled(*span, float(np.exp(high)), float(np.exp(low))), float(rest)
    return best


def _joined(run: Exposure) -> tuple[FloatArray, FloatArray]:
    """Days and hours of the entries that lie at least half a year apart."""
    kept = [0]
    for j in range(1, len(run.days)):
        if run.days[j] - run.days[kept[-1]] >= JOINED_DAYS:
            kept.append(j)
    return run.days[kept], run.hours[kept]
