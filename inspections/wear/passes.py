"""One pass of the filter over every bearing, and what it leaves: evidence, clouds, surprises."""

from __future__ import annotations

import math

import numpy as np

from .compilation import compiled, either
from .grid import (
    READ,
    _read,
    between,
    blank_memory,
    ceilings,
    cell_mass,
    highest,
    live_range,
    rates,
    remember,
    remembers,
    run_one,
    sharpness,
)
from .zeros import has_zeros, run_joint


@compiled
def run(steps, priors, linear, z, spread, keep, w_out, m_out, v_out):
    """Filter every bearing; returns its log evidence (B,) and, with ``keep``, fills w, m, v (B, K).

    ``steps`` and ``priors``: see ``pass_inputs``; ``lean`` (B,) lets the starting level lean on the node
    (m0 + lean z): zero in service, used to check the filter against random-intercept-and-slope models.
    ``spread``: what the spread of log rate multiplies at each node, see ``pass_inputs``.
    """
    start, stop, op, du, a, b, c, jump, jump_var, zero = steps
    loc, tau, rho, beta, m0, v0, lean = priors
    n = loc.size
    evidence = np.zeros(n)
    memory, told = blank_memory(z.size), np.nan
    m, v, w, q = np.zeros(z.size), np.zeros(z.size), np.zeros(z.size), np.zeros(z.size)
    past = np.zeros((2, z.size))
    prior = -0.5 * z * z
    prior -= np.log(np.sum(np.exp(prior)))
    fresh = np.exp(prior)
    for i in range(n):
        r = rates(loc[i], tau[i], spread.x, linear)
        m[:] = m0[i] + lean[i] * z
        v[:] = v0[i]
        w[:] = prior
        if rho[i] != told and remembers(op, start[i], stop[i]):
            remember(rho[i], z, spread, memory)
            told = rho[i]
        past[0], past[1] = memory.place, fresh
        if has_zeros(op, start[i], stop[i]):
            constant = run_joint(
                op, du, a, b, c, jump, jump_var, zero, start[i], stop[i], r, memory, past, beta[i], m, v, w
            )
        else:
            constant = run_one(
                op, du, a, b, c, jump, jump_var, start[i], stop[i], r, memory, past, beta[i], m, v, w, q
            )
        if keep:
            w_out[i] = w
            m_out[i] = m
            v_out[i] = v
        _, total = cell_mass(w)
        evidence[i] = constant + total
    return evidence


@compiled
def clouds(w, m, v, loc, tau, beta, tail, z, x, linear, cut, out):
    """Turn filtered states (B, K) into short lists of weighted components; returns how many each (B,).

    out (B cap, 10), one list after the other, the last two columns left to the caller: weight, mean and
    variance now (after ``tail`` kh), rate, half-cell slopes of mean and rate (um, um/kh; as standard
    deviations of a uniform spread inside the cell), node z, beta. Cells are cut until the sharpest peak has
    parts of half a standard deviation; components under ``cut`` are left out.
    """
    cap, begin = out.shape[0] // max(w.shape[0], 1), 0
    count = np.zeros(w.shape[0], dtype=np.int64)
    step = z[1] - z[0]
    for i in range(w.shape[0]):
        top = np.max(w[i])
        if not (top > -np.inf and top < np.inf):
            continue
        parts = sharpness(w[i])
        if parts > 1:
            parts = min(64, 2 * parts)
        first, last = live_range(w[i])
        if parts == 1:
            first, last = 1, z.size - 1
        ceiling = ceilings(w[i], first, last) if parts > 1 else w[i]
        if parts > 1:
            top = highest(w[i], first, last, parts, ceiling)
        n, total = 0, 0.0
        for j in range(parts):
            t = j / parts
            lw = np.minimum(between(w[i], first, last, t), ceiling) if parts > 1 else w[i][first:last]
            lm = between(m[i], first, last, t) if parts > 1 else m[i][first:last]
            lv = between(v[i], first, last, t) if parts > 1 else v[i][first:last]
            lx = between(x, first, last, t) if parts > 1 else x[first:last]
            for k in range(last - first):
                d = lw[k] - top
                if d < cut or n >= cap:
                    continue
                rate = loc[i] + tau[i] * lx[k] if linear else math.exp(min(loc[i] + tau[i] * lx[k], 60.0))
                bend = 0.5 * (x[first + k + 1] - x[first + k - 1]) / step
                lean = rate * tau[i] * bend if not linear else tau[i] * bend
                slope = 0.5 * (m[i, first + k + 1] - m[i, first + k - 1])
                weight = math.exp(d)
                out[begin + n, 0] = weight
                out[begin + n, 1] = lm[k] + rate * tail[i]
                out[begin + n, 2] = max(lv[k], 0.0) + max(beta[i] * rate * tail[i], 0.0)
                out[begin + n, 3] = rate
                out[begin + n, 4] = (slope + lean * step * tail[i]) / parts * 0.28867513459481287
                out[begin + n, 5] = lean * step / parts * 0.28867513459481287
                out[begin + n, 6] = z[first + k] + t * step
                out[begin + n, 7] = beta[i]
                total += weight
                n += 1
        out[begin : begin + n, 0] /= total
        count[i] = n
        begin += n
    return count


def _ahead_loop(w, m, v, q, r, x, beta):
    """Mean and variance of the clearance x kh ahead, over all nodes."""
    best = 0
    for k in range(w.size):
        if w[k] > w[best]:
            best = k
    top, centre = w[best] - 0.5 * math.log(q[best]), m[best]
    total, first, second = 0.0, 0.0, 0.0
    for k in range(w.size):
        if w[k] > w[best] - 20.0:
            mass = math.exp(w[k] - top) / math.sqrt(q[k])
            gain = r[k] * x
            off = m[k] + gain - centre
            total += mass
            first += mass * off
            second += mass * (v[k] + beta * gain + off * off)
    first /= total
    return centre + first, max(second / total - first * first, 0.0)


def _ahead_arrays(w, m, v, q, r, x, beta):
    best = np.argmax(w)
    live = w > w[best] - 20.0
    mass = np.exp(w[live] - w[best] + 0.5 * np.log(q[best])) / np.sqrt(q[live])
    gain = r[live] * x
    centre = m[best]
    off = m[live] + gain - centre
    first = (mass @ off) / mass.sum()
    second = (mass @ (v[live] + beta * gain + off * off)) / mass.sum()
    return centre + first, max(second - first * first, 0.0)


_ahead = either(_ahead_loop, _ahead_arrays)


@compiled
def surprises(steps, priors, z, spread, out):
    """Fill out (E,) with each reading's distance from its forecast, in sds of the forecast."""
    start, stop, op, du, a, b, c, jump, jump_var, _ = steps
    loc, tau, rho, beta, m0, v0, _ = priors
    m, v, w, q = np.zeros(z.size), np.zeros(z.size), np.zeros(z.size), np.zeros(z.size)
    past = np.zeros((2, z.size))
    prior = -0.5 * z * z
    prior -= np.log(np.sum(np.exp(prior)))
    fresh = np.exp(prior)
    memory, told = blank_memory(z.size), np.nan
    for i in range(loc.size):
        if rho[i] != told and remembers(op, start[i], stop[i]):
            remember(rho[i], z, spread, memory)
            told = rho[i]
        past[0], past[1] = memory.place, fresh
        r = rates(loc[i], tau[i], spread.x, False)
        m[:] = m0[i]
        v[:] = v0[i]
        w[:] = prior
        q[:] = 1.0
        ahead = 0.0
        for e in range(start[i], stop[i]):
            if op[e] == READ:
                ahead += du[e]
                if jump_var[e] > 0.0:
                    m += jump[e]
                    v += jump_var[e]
                middle, var = _ahead(w, m, v, q, r, ahead, beta[i])
                out[e] = (a[e] - middle) / math.sqrt(var + b[e])
                _read(m, v, w, q, r, ahead, beta[i], a[e], b[e])
                ahead = 0.0
            if op[e] != READ or q[-1] > 1e120 or q[0] < 1e-120:
                m += r * ahead
                v += (beta[i] * ahead) * r
                ahead = 0.0
                w -= 0.5 * np.log(q)
                q[:] = 1.0
                if op[e] != READ:
                    run_one(op, du, a, b, c, jump, jump_var, e, e + 1, r, memory, past, beta[i], m, v, w, q)
                    q[:] = 1.0
