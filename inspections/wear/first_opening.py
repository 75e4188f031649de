"""What a bearing's first opening at each outage is expected to cost, to ask for and to find.

Own derivation: at an opening the trigger decides by chance; before it passings cost their price, after it the
value table takes over. One reading's worth of knowledge comes in at the opening and none before.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray
from .predictive import Predictive
from .terms import READY, Terms
from .trigger import READINGS, Readings, look, root, scores
from .value_table import GAPS, Tables

EXPECTED = 0.9  # chance of a new shell above which replacement is expected


@dataclass(frozen=True)
class Openings:
    """Of B bearings, each first opened at one of T outages; all (B, T) unless said; costs and hours are crew
    hours.

    ``cost`` F: from today on, passings at their price, without the pump's own opening hours; ``value`` V:
    from the opening on; ``past``: chance of having passed the maximum by then, ``past_now`` (B,) today;
    ``new``, ``scraped``: chances of a new shell, of a scrape; ``hours``, ``variance`` of the bearing's own
    work there; ``trigger_um``, ``scrape_from_um``: readings (-inf: whatever is read, inf: none); ``gaps`` (B,
    T, 5): chance that the next opening follows 1 to 5 intervals later; ``looking_h``: what deciding by the
    reading saves against the better of closing up and renewing unseen. NaN throughout where a bearing has no
    maximum or no life.
    """

    cost: FloatArray
    value: FloatArray
    past: FloatArray
    past_now: FloatArray
    new: FloatArray
    scraped: FloatArray
    hours: FloatArray
    variance: FloatArray
    trigger_um: FloatArray
    scrape_from_um: FloatArray
    gaps: FloatArray
    looking_h: FloatArray

    @property
    def replacement_expected(self) -> NDArray[np.bool_]:
        """(B, T) whether more than 9 in 10 readings ask for a new shell."""
        return self.new > EXPECTED

    def take(self, chosen: Any) -> Openings:
        """The openings of the chosen bearings (indices or a mask), in that order."""
        return Openings(*(getattr(self, f.name)[chosen] for f in fields(self)))


@dataclass(frozen=True)
class _Visit:
    """An opening's readings judged: (B, Y) whether each asks for a new shell, as found and where it must be
    scraped.
    """

    readings: Readings
    renew: NDArray[np.bool_]
    renew_scraped: NDArray[np.bool_]
    closed: FloatArray
    scraped: FloatArray
    new: FloatArray

    def mean(self, values: FloatArray) -> FloatArray:
        """(B,) expectation over the readings."""
        return np.sum(self.readings.chance * values, axis=1)

    def gaps(self, v: Tables, t: Terms, q: FloatArray) -> FloatArray:
        """(B, 5) chance that the next opening follows 1 to 5 intervals later."""
        level, log_rate = self.readings.mean_level, self.readings.mean_log_rate
        touched = level + t.scrape_um[:, None]
        renewed = ((1.0 - q) * self.renew + q * self.renew_scraped)[:, :, None] * v.gaps_new(log_rate)
        closed = ((1.0 - q) * ~self.renew)[:, :, None] * v.gaps(level, log_rate)
        scraped = (q * ~self.renew_scraped)[:, :, None] * v.gaps(touched, log_rate)
        return np.einsum("by,byk->bk", self.readings.chance, renewed + closed + scraped)


def first_openings(
    p: Predictive,
    t: Terms,
    v: Tables,
    ahead: FloatArray,
    step: FloatArray,
    *,
    intervals: FloatArray | None = None,
    count: int = READINGS,
) -> Openings:
    """Coefficients of a first opening at each of T outages.

    ``ahead`` (B, T) kh from today to each outage, not falling; ``step`` (B, T) kh from it to the pump's next
    one; ``intervals`` (B, T) the time to each in usual intervals between outages (by default ahead / D; under
    a wear exponent exposure and time part). ``count`` readings stand for all. ``v`` are the tables of the
    same terms. Raises ValueError where shapes do not fit.

    >>> from .terms import example_terms
    >>> from .value_table import tables
    >>> t = example_terms(1, infant=0.002)
    >>> e = np.linspace(-2.8, 2.8, 15)
    >>> w = np.exp(-0.5 * e**2)
    >>> p = Predictive(
    ...     *(a[None] for a in (w / w.sum(), np.log(2.4) + 0.35 * e, np.full(15, 195.0), np.full(15, 64.0))),
    ...     np.array([2.0])
    ... )
    >>> o = first_openings(
    ...     p, t, tables(t, exact=True), 13.15 * np.array([[0.5, 1.5]]), np.full((1, 2), 13.15), count=201
    ... )
    >>> o.cost.round(1).tolist(), o.trigger_um.round(1).tolist(), o.new.round(3).tolist()
    ([[734.4, 740.7]], [[205.2, 211.1]], [[0.685, 0.946]])
    """
    ahead, step = (np.asarray(a, dtype=np.float64) for a in (ahead, step))
    shape = (len(p), ahead.shape[1] if ahead.ndim == 2 else -1)
    if ahead.shape != shape or step.shape != shape or len(t) != len(p):
        raise ValueError(
            f"Openings of {len(p)} bearings with {len(t)} terms: ahead {ahead.shape} and step {step.shape}"
            " must both be (bearings, outages)."
        )
    time = ahead / t.interval_kh[:, None] if intervals is None else np.asarray(intervals, dtype=np.float64)
    ready = t.standing == READY
    limit = np.where(ready, t.limit_um, np.nan)
    with np.errstate(invalid="ignore"):
        past, now = p.past(limit, ahead), p.past(limit, np.zeros((len(p), 1)))
        run = p.run_past(limit, ahead, time)
        columns = [_column(p, t, v, ahead[:, k], step[:, k], count) for k in range(shape[1])]
    got = {name: np.stack([c[name] for c in columns], axis=1) for name in columns[0]}
    price = t.price_h[:, None]
    passing = price * (past - now) + t.again[:, None] * price * run
    cost = t.discount[:, None] ** time * got["value"] + passing
    got = {k: np.where(ready.reshape(-1, *[1] * (a.ndim - 1)), a, np.nan) for k, a in got.items()}
    return Openings(cost=cost, past=past, past_now=now[:, 0], **got)


def _column(
    p: Predictive, t: Terms, v: Tables, x: FloatArray, step: FloatArray, count: int
) -> dict[str, FloatArray]:
    """Everything of one outage, (B,) each; gaps (B, 5)."""
    readings = look(p, x, t.reading_sd_um, count)
    as_found, scraped = scores(readings, t, step)
    level, log_rate = readings.mean_level, readings.mean_log_rate
    touched = t.scrape_h[:, None] + v.closed(level + t.scrape_um[:, None], log_rate)
    visit = _Visit(readings, as_found > 0, scraped > 0, v.closed(level, log_rate), touched, v.new(log_rate))
    q = t.contact_share[:, None]
    new = np.minimum(visit.mean((1.0 - q) * visit.renew + q * visit.renew_scraped), 1.0)
    scrape = np.minimum(visit.mean(q * ~visit.renew_scraped), 1.0 - new)
    after = visit.mean(
        (1.0 - q) * np.where(visit.renew, visit.new, visit.closed)
        + q * np.where(visit.renew_scraped, visit.new, visit.scraped)
    )
    unseen = visit.mean((1.0 - q) * visit.closed + q * visit.scraped)
    fitting = t.replace_h
    mean = new * fitting + scrape * t.scrape_h
    square = new * fitting**2 + scrape * t.scrape_h**2
    return {
        "value": t.measure_h + t.infant * v.unit_h + after,
        "new": new,
        "scraped": scrape,
        "hours": t.measure_h + mean,
        "variance": np.maximum(square - mean**2, 0.0),
        "trigger_um": root(readings.reading, as_found),
        "scrape_from_um": root(readings.reading, scraped),
        "gaps": visit.gaps(v, t, q),
        "looking_h": np.minimum(unseen, visit.mean(visit.new)) - after,
    }


def looking_by_cost(p: Predictive, t: Terms, v: Tables, x: FloatArray, count: int = READINGS) -> FloatArray:
    """(B,) what a reading x (B,) kh ahead would save, crew hours, if it were decided by least cost; never
    negative.

    min(E close, E new) - E min(close, new), with the share of contact findings in each: own derivation
    (Jensen).
    """
    readings = look(p, x, t.reading_sd_um, count)
    level, log_rate = readings.mean_level, readings.mean_log_rate
    closed, new = v.closed(level, log_rate), v.new(log_rate)
    scraped = t.scrape_h[:, None] + v.closed(level + t.scrape_um[:, None], log_rate)
    q = t.contact_share[:, None]
    best = (1.0 - q) * np.minimum(closed, new) + q * np.minimum(scraped, new)
    unseen = (1.0 - q) * closed + q * scraped
    mean = [np.sum(readings.chance * a, axis=1) for a in (unseen, new, best)]
    return np.minimum(mean[0], mean[1]) - mean[2]


def undecided(t: Terms, n_outages: int) -> Openings:
    """Openings of bearings whose belief does not fit them: never costed, hours from even chances of a new
    shell.

    Costs, chances and triggers are NaN: such a pump is opened at its next outage by rule and the engineer
    decides.

    >>> from .terms import example_terms
    >>> t = example_terms(1)
    >>> undecided(t, 2).hours.tolist()
    [[12.3, 12.3]]
    """
    shape = (len(t), n_outages)
    none = np.full(shape, np.nan)
    scrape = 0.5 * t.contact_share
    mean = 0.5 * t.replace_h + scrape * t.scrape_h
    square = 0.5 * t.replace_h**2 + scrape * t.scrape_h**2

    def wide(a: FloatArray) -> FloatArray:
        return np.repeat(a[:, None], n_outages, axis=1)

    return Openings(
        cost=none,
        value=none,
        past=none,
        past_now=none[:, 0],
        new=np.full(shape, 0.5),
        scraped=wide(scrape),
        hours=wide(t.measure_h + mean),
        variance=wide(square - mean**2),
        trigger_um=none,
        scrape_from_um=none,
        gaps=np.full((*shape, GAPS), np.nan),
        looking_h=none,
    )
