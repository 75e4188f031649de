"""What a closed-up bearing is expected to cost from now on: one table per class, over clearance and expected
rate.

Own derivation: a renewal programme in discounted crew hours whose state after closing up is the clearance m
and the mean u of the log rate; how well the rate is known follows from the wear seen. There is no horizon.
Tables are worked out in ratios (lengths over the room L - c0, exposure over the life, costs over shell and
fitting), so that one table serves every class of the same ratios.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, vstack
from scipy.special import ndtr

from .arrays import FloatArray, IntArray
from .terms import READY, Terms

LEVELS, RATES, RATE_NODES, GAPS = 37, 17, 9, 5
BELOW, ABOVE = 25.0 / 130.0, 60.0 / 130.0  # of the room: how far the table reaches below c0 and above L
WIDE = 3.2  # spreads of log rate on either side of the class's mean
NODES_TO = 2.4
AT_REST, MOST_SWEEPS = 2e-5, 2000  # span of a sweep's change as a share of shell and fitting (about 0.001 h)
SEEN = 0.75  # of a reading's variance: what is left of the level's after a reading and what was known before
MEMORY_DOUBT = 0.25  # sd of the log rate of the life before, where a new shell's rate is half remembered
STEP = np.log(1.1)
USUAL_OPENINGS = 60
STEPPED = (
    "reading_sd",
    "new_sd",
    "unevenness",
    "scrape",
    "interval",
    "open",
    "measure",
    "scrape_cost",
    "replace",
    "price",
    "spread",
    "contact",
    "exponent_at",
)
PLAIN = ("memory", "infant", "discount", "again", "exponent")
RATIOS = STEPPED + PLAIN
PLAIN_STEP = 0.005


def ratios(t: Terms) -> FloatArray:
    """(B, 18) a class's figures without units, in the order of RATIOS; NaN where there is no life."""
    room, unit = t.room_um, t.shell_h + t.replace_h
    unit = np.where(unit > 0, unit, np.nan)
    speed = np.exp(t.log_rate) / room
    plain = t.exponent == 1.0
    columns = {
        "reading_sd": t.reading_sd_um / room,
        "new_sd": t.new_sd_um / room,
        "unevenness": t.unevenness_um / room,
        "scrape": t.scrape_um / room,
        "interval": t.interval_kh * speed,
        "open": t.open_h / t.bearings / unit,
        "measure": t.measure_h / unit,
        "scrape_cost": t.scrape_h / unit,
        "replace": t.replace_h / unit,
        "price": t.price_h / unit,
        "spread": t.spread,
        "contact": t.contact_share,
        "exponent_at": np.where(plain, 1.0, t.exponent_at_kh * speed),
        "memory": t.memory,
        "infant": t.infant,
        "discount": t.discount,
        "again": t.again,
        "exponent": t.exponent,
    }
    return np.stack([columns[name] for name in RATIOS], axis=1)


def lattice(row: FloatArray) -> FloatArray:
    """Ratios (B, 18) moved to the nearest point of a lattice: steps of 10 %, of 0.005 for the last five.

    A decision takes the table at the nearest point; the trigger takes none.

    >>> lattice(np.full((1, 18), 0.4)).round(3)[0, [0, -1]].tolist()
    [0.386, 0.4]
    """
    out = np.array(row, dtype=float)
    n = len(STEPPED)
    with np.errstate(divide="ignore"):
        steps = np.round(np.round(np.log(out[:, :n]) / STEP, 9))
    out[:, :n] = np.where(out[:, :n] > 0, np.exp(np.where(np.isfinite(steps), steps, 0.0) * STEP), out[:, :n])
    contact = RATIOS.index("contact")
    out[:, contact] = np.minimum(out[:, contact], 1.0)
    out[:, n:] = np.round(np.round(out[:, n:] / PLAIN_STEP, 6)) * PLAIN_STEP
    return out


@dataclass(frozen=True)
class Table:
    """One class in ratios: life value (37, 17), best gap (37, 17) in intervals, and how its openings usually
    go.

    ``usual_gap`` (5,) share of closings after which the next opening follows 1 to 5 intervals later, in the
    long run; ``usual_new``, ``usual_scrape``: shares of openings that end with a new shell, with a scrape.
    """

    life: FloatArray
    gap: IntArray
    usual_gap: FloatArray
    usual_new: float
    usual_scrape: float


@dataclass(frozen=True)
class _Grid:
    """The table's states and their rate nodes: levels (37,), rates (17,), and per state (S,), (S, 9)."""

    levels: FloatArray
    rates: FloatArray
    level: FloatArray
    log_rate: FloatArray
    variance: FloatArray
    weight: FloatArray
    node: FloatArray


def _grid(c: dict[str, float]) -> _Grid:
    levels = np.linspace(-BELOW, 1.0 + ABOVE, LEVELS)
    rates = np.linspace(-WIDE * c["spread"], WIDE * c["spread"], RATES)
    level, log_rate = (a.ravel() for a in np.meshgrid(levels, rates, indexing="ij"))
    s2 = c["reading_sd"] ** 2
    fitted = 1.0 / (1.0 / max(c["new_sd"] ** 2, 1e-12) + 1.0 / s2)
    wear = np.maximum(level, 0.0)
    own = c["spread"] ** 2 * (1.0 - c["memory"] ** 2) + (MEMORY_DOUBT * c["memory"]) ** 2
    sig = 1.0 / np.sqrt(1.0 / own + wear**2 / (SEEN * s2 + fitted + c["unevenness"] * wear))
    e = np.linspace(-NODES_TO, NODES_TO, RATE_NODES)
    weight = np.exp(-0.5 * e**2)
    variance = np.where(level <= 0.0, fitted, SEEN * s2)
    node = log_rate[:, None] + sig[:, None] * e
    return _Grid(levels, rates, level, log_rate, variance, weight / weight.sum(), node)


def _corners(g: _Grid, level: FloatArray, log_rate: FloatArray) -> tuple[IntArray, FloatArray]:
    """States (..., 4) round a point and their bilinear weights; beyond the table its edge counts."""
    return corners(level, log_rate, g.levels, g.rates)


def corners(
    level: FloatArray, log_rate: FloatArray, levels: FloatArray, rates: FloatArray
) -> tuple[IntArray, FloatArray]:
    """States (..., 4) of a table round the points and their bilinear weights; beyond the table its edge
    counts.

    >>> at, share = corners(np.array(0.25), np.array(0.5), np.arange(3.0), np.arange(2.0))
    >>> at.tolist(), share.tolist()
    ([0, 1, 2, 3], [0.375, 0.375, 0.125, 0.125])
    """
    n, k = len(levels), len(rates)
    a = np.clip((level - levels[0]) / (levels[1] - levels[0]), 0.0, n - 1 - 1e-9)
    b = np.clip((log_rate - rates[0]) / (rates[1] - rates[0]), 0.0, k - 1 - 1e-9)
    i, j = a.astype(np.int64), b.astype(np.int64)
    a, b = a - i, b - j
    at = i * k + j
    states = np.stack([at, at + 1, at + k, at + k + 1], axis=-1)
    return states, np.stack([(1 - a) * (1 - b), (1 - a) * b, a * (1 - b), a * b], axis=-1)


def _matrix(states: IntArray, weights: FloatArray) -> csr_array:
    """Rows of weighted states (S, ..., 4) as a sparse matrix (S, S); what meets in a cell is added."""
    size = LEVELS * RATES
    rows = np.broadcast_to(np.arange(size).reshape(-1, *[1] * (states.ndim - 1)), states.shape)
    return csr_array((weights.ravel(), (rows.ravel(), states.ravel())), shape=(size, size))


def _increments(c: dict[str, float], g: _Grid) -> FloatArray:
    """Exposure (5, S, 9) to a next opening 1 to 5 intervals ahead, as wear of the present rate counts it.

    Under an exponent a worn shell is as old as its wear at the node's rate says.
    """
    steps = c["interval"] * np.arange(1, GAPS + 1)[:, None, None]
    if c["exponent"] == 1.0:
        return np.broadcast_to(steps, (GAPS, *g.node.shape))
    x, q = c["exponent_at"], c["exponent"]
    spent = np.maximum(g.level, 0.0)[:, None] / np.exp(g.node)
    age = x * (spent / x) ** (1.0 / q)
    return x * ((age + steps) / x) ** q - spent


def _opened(c: dict[str, float], g: _Grid, exposure: FloatArray) -> csr_array:
    """From a state to the states believed after the reading at an opening ``exposure`` (S, 9) later."""
    s2 = c["reading_sd"] ** 2
    gain = np.exp(g.node) * exposure
    mean, var = g.level[:, None] + gain, g.variance[:, None] + c["unevenness"] * gain
    total = var + s2
    hermite = np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
    share = np.array([1.0, 4.0, 1.0]) / 6.0
    y = (mean[:, :, None] + np.sqrt(total)[:, :, None] * hermite).reshape(len(mean), -1)
    off = y[:, :, None] - mean[:, None, :]
    log_w = np.log(g.weight) - 0.5 * np.log(total)[:, None, :] - 0.5 * off**2 / total[:, None, :]
    w = np.exp(log_w - log_w.max(axis=2, keepdims=True))
    w /= w.sum(axis=2, keepdims=True)
    level = np.sum(w * (mean[:, None, :] + (var / total)[:, None, :] * off), axis=2)
    log_rate = np.sum(w * g.node[:, None, :], axis=2)
    states, weights = _corners(g, level, log_rate)
    return _matrix(states, weights * (g.weight[:, None] * share).ravel()[None, :, None])


def _waiting(c: dict[str, float], g: _Grid, exposure: FloatArray) -> FloatArray:
    """(5, S) what passings cost until an opening 1 to 5 intervals ahead: W p + again W x time past."""
    gain = np.exp(g.node) * np.concatenate([np.zeros((1, *g.node.shape)), exposure])
    sd = np.sqrt(g.variance[:, None] + c["unevenness"] * gain)
    p = ndtr((g.level[:, None] + gain - 1.0) / sd) @ g.weight
    run = np.cumsum(0.5 * (p[1:] + p[:-1]), axis=0)
    return c["price"] * (p[1:] + c["again"] * run)


@dataclass(frozen=True)
class _Programme:
    """What the sweeps need: matrices to the next opening (5 S, S), after a scrape, to a new shell; costs."""

    opened: csr_array
    scraped: csr_array
    renewed: csr_array
    waiting: FloatArray
    c: dict[str, float]

    def new(self, life: FloatArray) -> FloatArray:
        """(S,) value of fitting a new shell; shell and fitting cost 1."""
        return 1.0 + self.renewed @ life

    def at_opening(self, life: FloatArray) -> FloatArray:
        """(S,) expected cost from an opening's reading on."""
        c, new = self.c, self.new(life)
        closed = np.minimum(life, new)
        touched = np.minimum(c["scrape_cost"] + self.scraped @ life, new)
        work = c["open"] + c["measure"] + c["infant"]
        return work + (1.0 - c["contact"]) * closed + c["contact"] * touched

    def choices(self, life: FloatArray) -> FloatArray:
        """(5, S) cost from a closing on for each gap to the next opening."""
        worth = self.at_opening(life)
        discount = self.c["discount"] ** np.arange(1, GAPS + 1)
        return self.waiting + discount[:, None] * (self.opened @ worth).reshape(GAPS, -1)

    def at_rest(self) -> FloatArray:
        """(S,) the fixed point, by sweeps until all states change alike; what the rest would add is
        geometric.
        """
        life, before = np.zeros(self.waiting.shape[1]), 1.0
        for _ in range(MOST_SWEEPS):
            change = self.choices(life).min(axis=0) - life
            life, mean = life + change, float(change.mean())
            if np.ptp(change) < AT_REST:
                share = min(mean / before, self.c["discount"])
                return life + mean * share / (1.0 - share)
            before = mean
        return life


@lru_cache(maxsize=2048)
def tabulate(row: tuple[float, ...]) -> Table:
    """The table of one class from its ratios (RATIOS in order); about 0.1 s, kept once worked out.

    >>> row = tuple(np.full(18, 0.1)[:13]) + (0.5, 0.0, 0.97, 1.0, 1.0)
    >>> tabulate(row).life.shape, bool(np.all(np.isfinite(tabulate(row).life)))
    ((37, 17), True)
    """
    c = dict(zip(RATIOS, row, strict=True))
    g = _grid(c)
    exposure = _increments(c, g)
    scraped = _matrix(*_corners(g, g.level + c["scrape"], g.log_rate))
    renewed = _matrix(*_corners(g, np.zeros_like(g.level), c["memory"] * g.log_rate))
    opened = vstack([_opened(c, g, x) for x in exposure], format="csr")
    programme = _Programme(opened, scraped, renewed, _waiting(c, g, exposure), c)
    life = programme.at_rest()
    gap = programme.choices(life).argmin(axis=0)
    usual = _usual(programme, g, life, gap)
    shape = (LEVELS, RATES)
    return Table(life.reshape(shape), gap.reshape(shape) + 1, *usual)


def _usual(p: _Programme, g: _Grid, life: FloatArray, gap: IntArray) -> tuple[FloatArray, float, float]:
    """How openings go in the long run: gaps (5,), share of new shells, share of scrapes."""
    new, q = p.new(life), p.c["contact"]
    worn = life > new
    worn_through = p.c["scrape_cost"] + p.scraped @ life > new
    at = np.zeros(len(life))
    states, weights = _corners(g, np.zeros(1), np.zeros(1))
    np.add.at(at, states, weights)
    fresh, scrapes = 0.0, 0.0
    chosen = p.opened[gap * len(life) + np.arange(len(life))].T.tocsr()
    after_scrape, after_new = p.scraped.T.tocsr(), p.renewed.T.tocsr()
    for _ in range(USUAL_OPENINGS):
        opened = chosen @ at
        plain, touched = (1.0 - q) * opened, q * opened
        renew = plain * worn + touched * worn_through
        scrape = touched * ~worn_through
        at = plain * ~worn + after_scrape @ scrape + after_new @ renew
        fresh, scrapes = float(renew.sum()), float(scrape.sum())
    return np.asarray(np.bincount(gap, at, minlength=GAPS), dtype=np.float64), fresh, scrapes


@dataclass(frozen=True)
class Tables:
    """The tables of B bearings, each its class's, in the bearing's own units; build with ``tables``."""

    life: FloatArray  # (K, 37 * 17)
    gap: FloatArray  # (K, 37 * 17, 5) 1 at the best gap
    levels: FloatArray  # (37,) in rooms above the fitted clearance
    index: IntArray  # (B,)
    spread: FloatArray  # (B,) the table's own
    usual_gap: FloatArray  # (B, 5)
    usual_new: FloatArray  # (B,)
    usual_scrape: FloatArray  # (B,)
    terms: Terms

    def _at(self, level: FloatArray, log_rate: FloatArray) -> tuple[IntArray, FloatArray]:
        """States (B, Y, 4) and weights of points (B, Y) in um and log um/kh."""
        t = self.terms
        m = (level - t.new_um[:, None]) / t.room_um[:, None]
        u = (log_rate - t.log_rate[:, None]) / self.spread[:, None]
        return corners(np.nan_to_num(m), np.nan_to_num(u), self.levels, np.linspace(-WIDE, WIDE, RATES))

    @property
    def unit_h(self) -> FloatArray:
        """(B,) crew hours of a shell and its fitting."""
        return self.terms.shell_h + self.terms.replace_h

    def closed(self, level: FloatArray, log_rate: FloatArray) -> FloatArray:
        """H (B, Y): expected cost, crew hours, of a bearing closed up at ``level`` um
        with mean ``log_rate``.
        """
        states, weights = self._at(level, log_rate)
        value = np.sum(self.life[self.index[:, None, None], states] * weights, axis=-1)
        return value * self.unit_h[:, None]

    def _renewed(self, log_rate: FloatArray) -> tuple[FloatArray, FloatArray]:
        t = self.terms
        u = t.log_rate[:, None] + t.memory[:, None] * (log_rate - t.log_rate[:, None])
        return np.broadcast_to(t.new_um[:, None], u.shape), u

    def new(self, log_rate: FloatArray) -> FloatArray:
        """R (B, Y): expected cost, crew hours, of fitting a new shell where the old one
        wore at ``log_rate``.
        """
        return self.unit_h[:, None] + self.closed(*self._renewed(log_rate))

    def gaps(self, level: FloatArray, log_rate: FloatArray) -> FloatArray:
        """(B, Y, 5) chance that the next opening of a bearing closed up so follows 1 to 5 intervals later."""
        states, weights = self._at(level, log_rate)
        return np.einsum("bys,bysk->byk", weights, self.gap[self.index[:, None, None], states])

    def gaps_new(self, log_rate: FloatArray) -> FloatArray:
        """(B, Y, 5) the same after a new shell."""
        return self.gaps(*self._renewed(log_rate))


def tables(t: Terms, *, exact: bool = False) -> Tables:
    """The tables of B bearings: at the nearest point of the lattice, or ``exact`` each by its own figures.

    A bearing without a life gets values of NaN. Check value: a shell of 130 um fitted clearance, maximum 260
    um.

    >>> from .terms import example_terms
    >>> t = example_terms(1, infant=0.002)
    >>> v = tables(t, exact=True)
    >>> v.closed(np.array([[130.0, 215.0]]), np.full((1, 2), np.log(2.2))).round(1).tolist()
    [[684.2, 741.2]]
    """
    rows = ratios(t)
    used = rows if exact else lattice(rows)
    ready = (t.standing == READY) & np.isfinite(used).all(axis=1)
    kinds, index = np.unique(used[ready], axis=0, return_inverse=True)
    made = [tabulate(tuple(float(x) for x in row)) for row in kinds]
    made.append(_blank())
    at = np.full(len(t), len(made) - 1)
    at[ready] = index.ravel()
    one_hot = np.eye(GAPS)
    return Tables(
        np.stack([m.life.ravel() for m in made]),
        np.stack([one_hot[np.clip(m.gap.ravel() - 1, 0, GAPS - 1)] for m in made]),
        np.linspace(-BELOW, 1.0 + ABOVE, LEVELS),
        at,
        np.where(ready, used[:, RATIOS.index("spread")], 1.0),
        np.stack([m.usual_gap for m in made])[at],
        np.array([m.usual_new for m in made])[at],
        np.array([m.usual_scrape for m in made])[at],
        t,
    )


def _blank() -> Table:
    nothing = np.full((LEVELS, RATES), np.nan)
    return Table(nothing, np.ones((LEVELS, RATES), dtype=np.int64), np.full(GAPS, np.nan), np.nan, np.nan)


def best_by_cost(v: Tables, levels: FloatArray, log_rate: FloatArray) -> NDArray[np.bool_]:
    """(B, Y) where a new shell costs less than closing up, at levels (B, Y) um and mean log rates (B, Y)."""
    return v.closed(levels, log_rate) > v.new(log_rate)
