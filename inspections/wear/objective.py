"""The log marginal posterior of a pool's parameters: its fitted numbers, their priors, value and gradient."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import expit

from . import rate_effects, shape
from .ages import usual_curve
from .arrays import FloatArray, Kind
from .belief import evidence, rate_under
from .event_effects import Frame, lay_out
from .parameters import Params

CARRIED_UP_TO = 300  # above it the parameters stay at their mode (they move no 10 % date by 1 %)
FD = 2e-3  # forward differences: off by half of it in each parameter, and above the steps the grid leaves
# Logarithms of an exponential belief of mean 2 h a start, and of one of mean 2 um of running in: mean and sd
# of each.
START_PRIOR = RUN_IN_PRIOR = (float(np.log(2.0)) - 0.5772, 1.2825)
LEAST_OPENED = 5  # visits for a cause, and as many without, from which a reason's weight is learned
# Share of the room from new to maximum at which half the visits have a cause, and log of its spread: mean,
# sd.
OPENED_AT_PRIOR, OPENED_SD_PRIOR = (1.0, 0.5), (float(np.log(0.5)), 0.7)
LEAST_RUN_IN = 5  # readings with new metal's whole running in behind them since one before it
# Logit of the share of outlying rates, by the moments of Beta(1, 20) on it: mean, sd; small fleets cannot
# speak of it.
OUTLYING_PRIOR, OUTLYING_HELD, LEAST_FOR_OUTLYING = (-3.55, 1.30), 0.01, 30
KNOWN_STARTS = 0.8  # share of readings in lives of a recorded start from which an exponent of age is learned
EXPONENT_SD = 0.3  # of the log of the exponent of age: a design assumption with no published source
MOST_REMEMBERED = (
    0.995  # beyond it the memory between lives is narrower than the grid, and the posterior rough
)


@dataclass(frozen=True)
class Slot:
    """One fitted number: its name, prior mean and sd (design assumptions, no published source)."""

    name: str
    mean: float
    sd: float


def slots(f: Frame, d: rate_effects.Design) -> list[Slot]:
    """The parameters this pool's record can speak about."""
    h = f.histories
    found = [
        Slot("log_tau", float(np.log(0.5)), 0.5),
        Slot("log_beta", 0.0, 1.0),
        Slot("new_shift", 0.0, 0.15),
        Slot("log_new_spread", float(np.log(0.1)), 0.5),
    ]
    found.append(Slot("log_exponent", 0.0, EXPONENT_SD))
    if h.n_bearings >= LEAST_FOR_OUTLYING:
        found.append(Slot("logit_outlying", *OUTLYING_PRIOR))
    if np.any(h.kind == Kind.NEW_LIFE) or np.any(h.kind == Kind.RATE_BREAK):
        found.append(Slot("atanh_rho", 0.8, 0.5))
    if np.any(h.kind == Kind.SCRAPE):
        found += [Slot("log_step", float(np.log(15.0)), 0.7), Slot("log_step_sd", float(np.log(8.0)), 0.5)]
    if np.any(f.starts > 0):
        found.append(Slot("log_start_hours", *START_PRIOR))
    behind = f.usable & (f.run_in > 0.5)
    behind[1:] &= f.usable[:-1]
    if np.sum(behind) >= LEAST_RUN_IN:
        found.append(Slot("log_run_in", *RUN_IN_PRIOR))
    reasons = h.value_um[(h.kind == Kind.OPENED) & (h.limit_um > f.new_um)[f.owner]]
    if min(np.sum(reasons > 0.5), np.sum(reasons < 0.5)) >= LEAST_OPENED:
        found += [Slot("opened_at", *OPENED_AT_PRIOR), Slot("log_opened_sd", *OPENED_SD_PRIOR)]
    for index in np.unique(h.method[f.usable]):
        method = h.methods[index]
        found.append(Slot(f"sd {method.name}", float(np.log(max(method.sd_um, 1e-3))), 0.3))
        if method.bias_sd_um > 0:
            found.append(Slot(f"bias {method.name}", 0.0, float(method.bias_sd_um)))
    if h.n_bearings > CARRIED_UP_TO:
        found += [Slot(f"warp {k}", 0.0, shape.PRIOR_SD) for k in range(len(shape.KNOTS))]
    found += [Slot(f"sigma {factor}", *rate_effects.SIGMA_PRIOR) for factor in d.factors]
    return found


def _starts_are_known(f: Frame) -> bool:
    """Whether enough readings belong to lives whose start is recorded to speak of how wear goes with age.

    Ages that are believed from the readings themselves would make a straight fleet look curved.
    """
    h = f.histories
    seen = f.usable & (h.kind == Kind.READING)
    return bool(seen.any()) and float(np.mean(f.ages.known[f.ages.life[seen]])) >= KNOWN_STARTS


def unpack(found: list[Slot], theta: FloatArray, base: Params) -> Params:
    """Parameters from their fitted numbers."""
    get = dict(zip((slot.name for slot in found), theta.tolist(), strict=True))
    changes: dict[str, Any] = {
        "tau": float(np.exp(get["log_tau"])),
        "beta": float(np.exp(get["log_beta"])),
        "new_shift": get["new_shift"],
        "new_spread": float(np.exp(get["log_new_spread"])),
        "method_sd": {n[3:]: float(np.exp(x)) for n, x in get.items() if n.startswith("sd ")},
        "method_bias": {n[5:]: x for n, x in get.items() if n.startswith("bias ")},
        "sigma": {n[6:]: float(np.exp(x)) for n, x in get.items() if n.startswith("sigma ")},
    }
    if "log_start_hours" in get:
        changes["start_hours"] = float(np.exp(get["log_start_hours"]))
    if "log_run_in" in get:
        changes["run_in"] = float(np.exp(get["log_run_in"]))
    if "atanh_rho" in get:
        changes["rho"] = min(float(np.tanh(get["atanh_rho"])), MOST_REMEMBERED)
    if "logit_outlying" in get:
        changes["outlying"] = float(expit(get["logit_outlying"]))
    if "log_exponent" in get:
        changes["exponent"] = float(np.exp(get["log_exponent"]))
    if "opened_at" in get:
        changes["opened"] = (get["opened_at"], float(np.exp(get["log_opened_sd"])))
    if "warp 0" in get:
        changes["warp"] = tuple(get[f"warp {k}"] for k in range(len(shape.KNOTS)))
    if "log_step" in get:
        changes["step_mean"] = float(np.exp(get["log_step"]))
        changes["step_sd"] = float(np.exp(get["log_step_sd"]))
    return replace(base, **changes)


class Objective:
    """The log marginal posterior of a pool's parameters, effects integrated by Laplace's method."""

    def __init__(self, f: Frame, d: rate_effects.Design, set_aside: np.ndarray, threads: bool) -> None:
        self.f, self.d, self.set_aside, self.threads = f, d, set_aside, threads
        self.weight = np.ones(f.histories.n_bearings)  # 0: a bearing no rate of the fleet's explains
        self.slots = slots(f, d)
        self.mean = np.array([s.mean for s in self.slots])
        self.sd = np.array([s.sd for s in self.slots])
        usual = usual_curve(f.histories, f.ages, f.owner, f.usable, f.new_um, not _starts_are_known(f))
        self.base = Params(
            outlying=OUTLYING_HELD,
            usual_kh=usual.usual_kh,
            usual_rate=usual.usual_rate,
            within=usual.within,
            log_ages=usual.log_ages,
        )
        self.fixed = np.array([s.name.startswith("sigma ") for s in self.slots])
        self.shapes = np.array([s.name.startswith("warp ") for s in self.slots])
        self.bends_move = len(d.factors) > 0 or f.histories.n_bearings < 400

    def params(self, theta: FloatArray) -> Params:
        """The parameters at theta."""
        return unpack(self.slots, theta, self.base)

    def of(self, p: Params) -> Callable[[FloatArray], FloatArray]:
        """Evidence (B,) as a function of expected log rates (B,)."""
        work = lay_out(self.f, p, self.set_aside)
        still = np.zeros(self.f.histories.n_bearings)

        def at(loc: FloatArray) -> FloatArray:
            return self.weight * evidence(self.f, work, rate_under(p, loc, still), threads=self.threads)

        return at

    def sigma(self, p: Params) -> FloatArray:
        """(F,) spreads of the factors."""
        return np.array([p.sigma[factor] for factor in self.d.factors])

    def look(self, theta: FloatArray, u: FloatArray) -> rate_effects.Local:
        """The quadratic of the evidence at theta about effects u."""
        return rate_effects.look(self.of(self.params(theta)), self.d, u)

    def prior(self, theta: FloatArray) -> float:
        """Log prior density up to a constant."""
        return float(-0.5 * np.sum(((theta - self.mean) / self.sd) ** 2))

    def value(self, theta: FloatArray, u: FloatArray, local: rate_effects.Local | None = None) -> float:
        """Log marginal posterior at theta, the effects' quadratic taken about u."""
        local = local or self.look(theta, u)
        solved = rate_effects.solve(local, self.d, self.sigma(self.params(theta)), with_cov=False)
        return solved.total + self.prior(theta)

    def settle(
        self, theta: FloatArray, u: FloatArray, rounds: int = 2
    ) -> tuple[rate_effects.Local, rate_effects.Solved]:
        """Newton's steps to the effects' mode at theta."""
        for _ in range(rounds):
            local = self.look(theta, u)
            solved = rate_effects.solve(local, self.d, self.sigma(self.params(theta)))
            u = u + np.clip(solved.mean - u, -1.5, 1.5)
        return local, solved

    def gradient(self, theta: FloatArray, local: rate_effects.Local) -> tuple[float, FloatArray, FloatArray]:
        """Value, gradient (P,) and the evidence's slopes per bearing (B, P), by forward differences."""
        here = self.value(theta, local.u, local)
        slope = np.zeros(len(theta))
        each = np.zeros((len(local.value), len(theta)))
        at = rate_effects.expected(self.d, local.u)
        for k in range(len(theta)):
            moved = theta.copy()
            moved[k] += FD
            if self.fixed[k]:
                there = local
            elif self.bends_move:
                there = self.look(moved, local.u)
            else:
                there = replace(local, value=self.of(self.params(moved))(at))
            slope[k] = (self.value(moved, local.u, there) - here) / FD
            each[:, k] = (there.value - local.value) / FD
        return here, slope, each
