"""The grid filter: one pass over a bearing's events on K nodes of its rate (wear model, section 3).

Given a node the rate is known, so the clearance is a scalar Gaussian state: mean m, variance v and
log-weight w per node. What a Kalman filter does for one rate, done for all of them at once.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr

from .compilation import compiled, either
from .pass_inputs import Memory

NODES = np.arange(-48, 49).astype(np.float64) * 0.125  # z over +-6, step 0.125: K = 97
NODES.flags.writeable = False
DEAD = 50.0  # nodes this far (log) under the best one are not summed: below 2e-22 of it
TINY = 1e-300
LEAST_KEPT = 1e-4  # rho under which the memory is none, so that a place has a spread
CURED = 0.5  # of outlying places, at a rate break: a design assumption with no published source
LEAST_SHARED = 1e-280  # mass that two lives of a place must have in common to be heard together
HALF_LOG_2PI = 0.9189385332046727
HALF_ROOT = math.sqrt(0.5)

SKIP, READ, CENSOR, STEP, LIFE, LEVEL, BREAK, DROP = range(8)  # what the filter does at an event


def _read_loop(m, v, w, q, r, x, beta, y, s2):
    """Move by x, then observe y with variance s2; q gathers the product of the predictive variances."""
    for k in range(m.size):
        gain = r[k] * x
        mean = m[k] + gain
        var = v[k] + beta * gain
        total = var + s2
        d = y - mean
        share = var / total
        w[k] -= 0.5 * d * d / total
        q[k] *= total
        m[k] = mean + share * d
        v[k] = share * s2


def _read_arrays(m, v, w, q, r, x, beta, y, s2):
    mean = m + r * x
    var = v + beta * (r * x)
    total = var + s2
    d = y - mean
    share = var / total
    w -= 0.5 * d * d / total
    q *= total
    m[:] = mean + share * d
    v[:] = share * s2


def _censor_loop(m, v, w, low, high, s2):
    """Observe that the reading lay between low and high: truncated normal moments node by node."""
    for k in range(m.size):
        total = v[k] + s2
        sd = math.sqrt(total)
        a, b = (low - m[k]) / sd, (high - m[k]) / sd
        if a > 0:
            p = 0.5 * math.erfc(a * HALF_ROOT) - (0.5 * math.erfc(b * HALF_ROOT) if b < 38.0 else 0.0)
        else:
            p = 0.5 * math.erfc(-b * HALF_ROOT) if b < 38.0 else 1.0
            p -= 0.5 * math.erfc(-a * HALF_ROOT) if a > -38.0 else 0.0
        if p > 1e-250:
            fa = math.exp(-0.5 * a * a) / 2.5066282746310002 if abs(a) < 38 else 0.0
            fb = math.exp(-0.5 * b * b) / 2.5066282746310002 if abs(b) < 38 else 0.0
            shift = (fa - fb) / p
            left = a * fa if fa > 0 else 0.0
            right = b * fb if fb > 0 else 0.0
            spread = max(1.0 + (left - right) / p - shift * shift, 0.0)
            w[k] += math.log(p)
        else:
            # so far out that the nearer bound is as good as the reading itself
            near = a if a > 0 else b
            shift, spread = near, 0.0
            w[k] += -0.5 * near * near - math.log(1.0 + abs(near))
        share = v[k] / total
        m[k] += share * shift * sd
        v[k] = v[k] * (1.0 - share) + share * share * spread * total


def _censor_arrays(m, v, w, low, high, s2):
    total = v + s2
    sd = np.sqrt(total)
    a, b = (low - m) / sd, (high - m) / sd
    p = np.where(a > 0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))
    seen = p > 1e-250
    safe = np.where(seen, p, 1.0)
    with np.errstate(invalid="ignore", over="ignore", under="ignore"):
        fa = np.where(np.abs(a) < 38, np.exp(-0.5 * a * a) / 2.5066282746310002, 0.0)
        fb = np.where(np.abs(b) < 38, np.exp(-0.5 * b * b) / 2.5066282746310002, 0.0)
        near = np.where(a > 0, a, b)
        edge = np.where(fa > 0, a * fa, 0.0) - np.where(fb > 0, b * fb, 0.0)
        shift = np.where(seen, (fa - fb) / safe, near)
        spread = np.where(seen, np.maximum(1.0 + edge / safe - shift * shift, 0.0), 0.0)
        far = -0.5 * near * near - np.log(1.0 + np.abs(near))
        w += np.where(seen, np.log(safe), far)
    share = v / total
    m += share * shift * sd
    v[:] = v * (1.0 - share) + share * share * spread * total


_read = either(_read_loop, _read_arrays)
_censor = either(_censor_loop, _censor_arrays)


@compiled
def sharpness(w):
    """How many parts each cell must be cut into so that the sharpest peak is resolved to 0.8 sd."""
    p = int(np.argmax(w))
    if p == 0 or p == w.size - 1:
        return 1
    bend = -(w[p - 1] - 2.0 * w[p] + w[p + 1])
    if bend < 0.64:
        return 1
    return int(min(64.0, math.ceil(1.25 * math.sqrt(bend))))


@compiled
def between(y, first, last, t):
    """Cubic through four neighbours at node i + t, for i = first..last-1 (needs one node either side)."""
    a = -t * (t - 1.0) * (t - 2.0) / 6.0
    b = (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0
    c = -(t + 1.0) * t * (t - 2.0) / 2.0
    d = (t + 1.0) * t * (t - 1.0) / 6.0
    return (
        a * y[first - 1 : last - 1]
        + b * y[first:last]
        + c * y[first + 1 : last + 1]
        + d * y[first + 2 : last + 2]
    )


@compiled
def ceilings(w, first, last):
    """The most that a log weight may be inside the cells i..i+1, for i = first..last-1: exact for a parabola.

    A cubic beside a cliff of log weights overshoots by a share of the cliff. Where a parabola has its peak
    inside the cell it lies at most an eighth of its bend above the higher node; elsewhere the higher node is
    the most.
    """
    before, here = w[first - 1 : last - 1], w[first:last]
    there, after = w[first + 1 : last + 1], w[first + 2 : last + 2]
    bend = np.minimum(2.0 * here - before - there, 2.0 * there - here - after)
    peak = (there > before) & (after < here)
    return np.maximum(here, there) + np.where(peak, 0.125 * np.maximum(bend, 0.0), 0.0)


@compiled
def live_range(w):
    """First and last+1 node that count, with room for the cubic on either side."""
    top = np.max(w)
    first, last = 0, w.size
    while first < w.size - 1 and w[first] < top - DEAD:
        first += 1
    while last > first + 1 and w[last - 1] < top - DEAD:
        last -= 1
    return max(first - 1, 1), min(last + 1, w.size - 2)


@compiled
def highest(w, first, last, parts, ceiling):
    """The log-weight of the best sub-node."""
    top = -np.inf
    for j in range(parts):
        top = max(top, np.max(np.minimum(between(w, first, last, j / parts), ceiling)))
    return top


@compiled
def cell_mass(w):
    """Posterior mass at each node (K,), integrated inside the cells, and the log of the total.

    Sub-nodes hand their mass to their two neighbours in proportion, which keeps mass and mean.
    """
    top = np.max(w)
    if not (top > -np.inf and top < np.inf):
        return np.full(w.size, 1.0 / w.size), -1e10
    parts = sharpness(w)
    if parts == 1:
        mass = np.exp(np.maximum(w - top, -700.0))
    else:
        mass = np.zeros(w.size)
        first, last = live_range(w)
        ceiling = ceilings(w, first, last)
        top = highest(w, first, last, parts, ceiling)
        for j in range(parts):
            t = j / parts
            sub = np.minimum(between(w, first, last, t), ceiling)
            piece = np.exp(np.maximum(sub - top, -700.0)) / parts
            mass[first:last] += (1.0 - t) * piece
            mass[first + 1 : last + 1] += t * piece
    total = np.sum(mass)
    return mass / total, top + math.log(total)


@compiled
def blank_memory(n):
    """A memory of n nodes to be filled by ``remember``."""
    return Memory(np.zeros((2, n, n)), np.zeros(n), np.zeros(n))


@compiled
def remember(rho, z, spread, memory):
    """Fill the memory between the lives of a place; ``rho``: what two of one in the bulk have in common.

    A life's standardised log rate is its place's, (1 - e) N(0, rho) + e N(0, k^2 - 1 + rho), and a
    N(0, 1 - rho) of its own: lives are spread as the fleet is, any two of a place in the bulk are alike to
    rho however many lie between them, and an outlying place stays one. z (K,): nodes; a place's lie at
    sqrt(rho) z in the bulk, and reach as far as lives do.
    """
    step, x, e = z[1] - z[0], spread.mixture, spread.outlying
    slope = np.ones(z.size)
    slope[1:-1] = 0.5 * (x[2:] - x[:-2]) / step
    slope[0], slope[-1] = slope[1], slope[-2]
    among = max(rho, LEAST_KEPT)
    share = math.sqrt(among)
    place = share * z + (x - z)
    for j in range(z.size):
        finest = 0.5 * step * slope[j]
        row = np.exp(-0.5 * (x - place[j]) ** 2 / max(1.0 - rho, finest * finest)) * slope
        memory.table[0, j] = row / np.sum(row)
    memory.table[1] = memory.table[0].T
    wide = among + spread.times * spread.times - 1.0
    bulk = (1.0 - e) * np.exp(-0.5 * place * place / among) / share
    far = e * np.exp(-0.5 * place * place / wide) / math.sqrt(wide)
    memory.outlying[:] = far / np.maximum(bulk + far, TINY)
    mass = (bulk + far) * (share + slope - 1.0)
    memory.place[:] = mass / np.sum(mass)


def _carried_loop(x, table, out):
    """out (K,) += x @ table, row by row: from a place's nodes to a life's by table[0], back by table[1]."""
    for j in range(x.size):
        if x[j] != 0.0:
            for k in range(x.size):
                out[k] += x[j] * table[j, k]


def _carried_arrays(x, table, out):
    out += x @ table


_carried = either(_carried_loop, _carried_arrays)


@compiled
def after_break(belief, memory):
    """belief (K,) of a place's node after a rate break: an outlying place may have lost what made it one,
    and is then drawn anew.
    """
    gone = CURED * memory.outlying
    return belief * (1.0 - gone) + np.sum(belief * gone) * memory.place


@compiled
def _next_life(mass, memory, past, m, v, w, is_break):
    """Begin the next life: its nodes' weights from all lives of the place before it; at a rate break the
    level is kept, by moments at each new node, and a place that was outlying need not be so any more.

    mass (K,): belief of the life that ends. What its record alone says of its node, mass over the belief it
    began with, is carried to the place's node, where it joins what earlier lives said; where the two exclude
    each other the last life alone speaks.
    """
    n = mass.size
    said = np.where(mass > 1e-15, mass / np.maximum(past[1], TINY), 0.0)
    said /= np.max(said)
    here, new = np.zeros(n), np.zeros(n)
    _carried(said, memory.table[1], here)
    if not np.sum(past[0] * here) > LEAST_SHARED:
        past[0] = 1.0
    after = past[0] * here
    if is_break:
        after = after_break(after, memory)
    _carried(after, memory.table[0], new)
    if is_break:
        centre = np.sum(mass * m)
        off = m - centre
        at, mean, square = np.zeros(n), np.zeros(n), np.zeros(n)
        _carried(said * off, memory.table[1], at)
        _carried(after_break(past[0] * at, memory), memory.table[0], mean)
        at[:] = 0.0
        _carried(said * (v + off * off), memory.table[1], at)
        _carried(after_break(past[0] * at, memory), memory.table[0], square)
        mean /= np.maximum(new, TINY)
        m[:] = centre + mean
        v[:] = np.maximum(square / np.maximum(new, TINY) - mean * mean, 1e-12)
    past[0] = after / np.sum(after)
    new = np.maximum(new / np.sum(new), TINY)
    past[1] = new
    w[:] = np.log(new)


@compiled
def run_one(op, du, a, b, c, jump, jump_var, first, last, r, memory, past, beta, m, v, w, q):
    """Filter events first..last of one bearing; m, v, w (K,) hold the prior and then the posterior.

    op (E,): what to do; du (E,): exposure since the event before, kh; a, b, c (E,): reading, its variance;
    low, high, variance; step mean, variance; level mean, variance (um, um2). jump, jump_var (E,): what
    running in adds since the event before, and its variance. r (K,): um/kh at each node; memory: see
    ``remember``; past (2, K): what is believed of the place's own node by the lives before, and of
    the present life's when it began. w is left unnormalised; what is returned belongs to its total.
    """
    q[:] = 1.0
    constant = 0.0
    ahead = 0.0
    for e in range(first, last):
        ahead += du[e]
        if jump_var[e] > 0.0:
            m += jump[e]
            v += jump_var[e]
        what = op[e]
        if what in (SKIP, DROP):  # a fall of the wall has a zero of its own: see ``zeros``
            continue
        if what == READ:
            _read(m, v, w, q, r, ahead, beta, a[e], b[e])
            ahead = 0.0
            constant -= HALF_LOG_2PI
            if q[-1] > 1e120 or q[0] < 1e-120:
                w -= 0.5 * np.log(q)
                q[:] = 1.0
            continue
        m += r * ahead
        v += (beta * ahead) * r
        ahead = 0.0
        if what == STEP:
            m += a[e]
            v += b[e]
        elif what == LEVEL:
            m[:] = a[e]
            v[:] = b[e]
        elif what == CENSOR:
            _censor(m, v, w, a[e], b[e], c[e])
        else:
            w -= 0.5 * np.log(q)
            q[:] = 1.0
            mass, total = cell_mass(w)
            constant += total
            _next_life(mass, memory, past, m, v, w, what == BREAK)
            if what == LIFE:
                m[:] = a[e]
                v[:] = b[e]
    m += r * ahead
    v += (beta * ahead) * r
    w -= 0.5 * np.log(q)
    return constant


@compiled
def remembers(op, first, last):
    """Whether the memory between lives is asked for."""
    return np.any((op[first:last] == LIFE) | (op[first:last] == BREAK))


@compiled
def rates(loc, tau, x, linear):
    """(K,) rate at each node: exp(loc + tau x), or loc + tau x where rates are taken as normal."""
    if linear:
        return loc + tau * x
    return np.exp(np.minimum(loc + tau * x, 60.0))
