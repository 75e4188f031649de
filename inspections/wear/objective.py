"""The log marginal posterior of a pool's parameters: its fitted numbers, their priors, value and gradient."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from . import rate_effects, shape
from .ages import usual_curve
from .arrays import FloatArray, Kind
from .belief import evidence, rate_under
from .class_curves import speak_apart
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
# Log of the spread of classes' own over the fleet's: mean and sd of it (likewise); where it is looked for.
CLASS_EXPONENT_SD = (float(np.log(0.1)), 0.7)
SPREADS = np.exp(np.linspace(np.log(0.01), np.log(1.0), 93))
RESPREAD = 1.1  # times that the spread has to move for a climb anew
BEND_STEP = 0.05  # log exponent: how far aside the evidence is looked at for its bend
FIRST_SPREAD = 0.2  # of classes' own exponents in the first climb
OWN_EXPONENT = "log_exponent of class "
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
    found += [Slot(f"{OWN_EXPONENT}{code}", 0.0, FIRST_SPREAD) for code in speak_apart(f)]
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
        changes["rho"] = min(max(float(np.tanh(get["atanh_rho"])), 0.0), MOST_REMEMBERED)
    if "logit_outlying" in get:
        changes["outlying"] = float(expit(get["logit_outlying"]))
    if "log_exponent" in get:
        changes["exponent"] = float(np.exp(get["log_exponent"]))
    own = {n.removeprefix(OWN_EXPONENT): x for n, x in get.items() if n.startswith(OWN_EXPONENT)}
    changes["class_exponent"] = own
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
        self.own = [_class_of(s) for s in self.slots]
        self.bends_move = len(d.factors) > 0 or f.histories.n_bearings < 400

    def of_slots(self, keep: NDArray[np.bool_]) -> Objective:
        """The same posterior along some of its slots (P,), the others left as the base has them."""
        part = copy(self)
        part.slots = [slot for slot, kept in zip(self.slots, keep, strict=True) if kept]
        part.own = [own for own, kept in zip(self.own, keep, strict=True) if kept]
        part.mean, part.sd, part.fixed, part.shapes = (
            x[keep] for x in (self.mean, self.sd, self.fixed, self.shapes)
        )
        return part

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
        classes = [code is not None for code in self.own]
        together = self._aside(np.where(classes, theta + FD, theta), local) if any(classes) else local
        for k in range(len(theta)):
            moved = theta.copy()
            moved[k] += FD
            if self.fixed[k]:
                there = local
            elif classes[k]:  # a bearing hears its own class's exponent alone: one look serves them all
                there = local.mixed(together, self.f.histories.class_ == self.own[k])
            else:
                there = self._aside(moved, local)
            slope[k] = (self.value(moved, local.u, there) - here) / FD
            each[:, k] = (there.value - local.value) / FD
        return here, slope, each

    def respread(self, theta: FloatArray, u: FloatArray) -> bool:
        """Whether the spread of classes' own exponents, learned at the mode, is another than it was taken to
        be.

        Each class's records alone say d_c with the bend B_c of their evidence; the spread s is the likeliest
        under d_c ~ N(0, s^2 + 1 / B_c) and its belief, the d_c themselves integrated out.
        """
        of = np.array([-1 if code is None else code for code in self.own])
        classes = of >= 0
        if not classes.any():
            return False
        at = rate_effects.expected(self.d, u)
        low, here, high = (
            self.of(self.params(np.where(classes, theta + step, theta)))(at)
            for step in (-BEND_STEP, 0.0, BEND_STEP)
        )
        mine = of[classes][:, None] == self.f.histories.class_
        bend = np.maximum(mine @ (2.0 * here - low - high) / BEND_STEP**2, 1e-6)
        before = float(self.sd[classes][0])
        alone = theta[classes] * (1.0 + 1.0 / (bend * before**2))
        var = SPREADS[:, None] ** 2 + 1.0 / bend
        logs = -0.5 * np.sum(np.log(var) + alone**2 / var, axis=1)
        logs -= 0.5 * ((np.log(SPREADS) - CLASS_EXPONENT_SD[0]) / CLASS_EXPONENT_SD[1]) ** 2
        spread = float(SPREADS[np.argmax(logs)])
        self.sd = np.where(classes, spread, self.sd)
        self.slots = [replace(s, sd=float(sd)) for s, sd in zip(self.slots, self.sd, strict=True)]
        return not 1.0 / RESPREAD < spread / before < RESPREAD

    def _aside(self, theta: FloatArray, local: rate_effects.Local) -> rate_effects.Local:
        """The quadratic at another theta: anew, or in a large fleet of one expected rate with its value
        alone anew.
        """
        if self.bends_move:
            return self.look(theta, local.u)
        at = rate_effects.expected(self.d, local.u)
        return replace(local, value=self.of(self.params(theta))(at))


def _class_of(slot: Slot) -> int | None:
    """The class whose own exponent a number is."""
    name = slot.name
    return int(name.removeprefix(OWN_EXPONENT)) if name.startswith(OWN_EXPONENT) else None
