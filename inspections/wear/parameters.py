"""Fleet-wide parameters with the effects on the rate, and what they mean for one bearing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .ages import Curve
from .arrays import FloatArray, Histories, Method

LEAST_SD_UM = (
    1.0  # no gauge at an open bearing is better, however smooth a record is (common practice, no source)
)
SQRT_2 = float(np.sqrt(2.0))
FACTORS = ("class_", "site", "service", "position")
LOG_RATE_PRIOR = (float(np.log(2.0)), 1.0)  # um/kh: a design assumption with no published source


@dataclass(frozen=True)
class Params:
    """One set of fleet-wide parameters with the effects that belong to it.

    tau: sd of log rate between bearings; beta: um, variance of wear per um of wear; rho: memory between
    lives. Steps in um; new_shift and new_spread as shares of the fitting clearance. effect_levels:
    ("mean", -1) is the log median rate, then (factor, code); effect_mean, effect_cov: their posterior.
    """

    tau: float = 0.5
    beta: float = 1.0
    rho: float = float(np.tanh(0.8))
    method_sd: dict[str, float] = field(default_factory=dict)
    method_bias: dict[str, float] = field(default_factory=dict)
    method_bias_sd: dict[str, float] = field(default_factory=dict)
    gauge_bias: dict[str, float] = field(default_factory=dict)  # um that a gauge reads too much in a period
    gauge_bias_sd: dict[str, float] = field(default_factory=dict)
    gauge_spread: float = 0.0  # um, scale of such biases over gauges; 0: none is learned
    step_mean: float = 15.0
    step_sd: float = 8.0
    class_steps: dict[str, float] = field(default_factory=dict)
    class_step_sd: dict[str, float] = field(default_factory=dict)
    class_shift: dict[str, float] = field(default_factory=dict)
    start_hours: float = 0.0  # run hours that a start wears like
    run_in: float = 0.0  # um, what running in adds after new metal: mean and sd of it over lives
    opened: tuple[
        float, ...
    ] = ()  # share of the room from new to maximum at which half the visits have a cause; its sd
    new_shift: float = 0.0
    new_spread: float = 0.1
    warp: tuple[float, ...] = ()  # how rates are spread beyond the normal bell; see ``shape``
    outlying: float = 0.0  # share of bearings whose log rates are spread far more widely; see ``shape``
    exponent: float = 1.0  # of a life's age, see ``ages``; with the pool's constants that go with it
    class_exponent: dict[str, float] = field(default_factory=dict)  # log of a class's own over the pool's
    own_curves: float = 0.0  # share of bearings with a curve of their own; see ``own_curve``
    usual_kh: float = 40.0
    usual_rate: float = 1.0
    within: bool = False
    log_ages: tuple[float, ...] = ()
    sigma: dict[str, float] = field(default_factory=dict)
    effect_levels: tuple[tuple[str, int], ...] = (("mean", -1),)
    effect_mean: tuple[float, ...] = (LOG_RATE_PRIOR[0],)
    effect_cov: tuple[tuple[float, ...], ...] = ((LOG_RATE_PRIOR[1] ** 2,),)
    taper_mean: float = (
        0.0  # growth of the taper per um of wear: mean over the fleet, spread, sd of a reading
    )
    taper_spread: float = 0.3
    taper_sd: float = 10.0

    @property
    def curve(self) -> Curve:
        """The power of a life's age that wear follows."""
        apart = sorted((int(c), self.exponent * float(np.exp(d))) for c, d in self.class_exponent.items())
        return Curve(self.exponent, self.usual_kh, self.usual_rate, self.within, self.log_ages, tuple(apart))

    def of_methods(self, methods: Sequence[Method]) -> tuple[FloatArray, FloatArray]:
        """(M,) standard uncertainty and bias of each method, um; a method never seen keeps its stated one."""
        fitted = np.array([self.method_sd.get(m.name, m.sd_um) for m in methods] or [1.0])
        sd = (fitted**4 + LEAST_SD_UM**4) ** 0.25  # smooth, and nothing to a gauge of a few um
        bias = [self.method_bias.get(m.name, 0.0) for m in methods] or [0.0]
        return sd, np.array(bias)

    def bias_sd(self, methods: Sequence[Method]) -> FloatArray:
        """(M,) what the bias of each method may still be, um."""
        return np.array([self.method_bias_sd.get(m.name, m.bias_sd_um) for m in methods] or [0.0])

    def of_gauges(self, h: Histories) -> FloatArray:
        """(E,) what the gauge of each event reads too much in its period, um; 0 for one never seen."""
        return np.array([*(self.gauge_bias.get(g.name, 0.0) for g in h.gauges), 0.0])[h.gauge]

    def gauge_doubt(self, h: Histories) -> FloatArray:
        """(E,) sd of what is not known of that, um; 0 where no gauge is named or none is learned."""
        if self.gauge_spread <= 0.0:
            return np.zeros(len(h.gauge))
        unseen = self.gauge_spread * SQRT_2  # of a Student t with 4 degrees of freedom
        return np.array([*(self.gauge_bias_sd.get(g.name, unseen) for g in h.gauges), 0.0])[h.gauge]

    def of_steps(self, class_: Any) -> tuple[FloatArray, FloatArray]:
        """(B,) mean and sd of a scrape's step by class, um; what a class's own mean may still be is in the
        sd.
        """
        mean, sure = _of_class(self.class_steps, class_), _of_class(self.class_step_sd, class_)
        sd = np.sqrt(self.step_sd**2 + np.nan_to_num(sure) ** 2)
        return np.where(np.isnan(mean), self.step_mean, mean), sd

    def of_new(self, class_: Any) -> FloatArray:
        """(B,) how far new metal lies from the middle of the fitting range, as a share of it."""
        shift = _of_class(self.class_shift, class_)
        return np.where(np.isnan(shift), self.new_shift, shift)

    def outlook(self, h: Histories) -> tuple[FloatArray, FloatArray]:
        """(B,) mean and variance of each bearing's expected log rate; a level never seen gets its spread."""
        place = {level: k for k, level in enumerate(self.effect_levels)}
        mean = np.asarray(self.effect_mean)
        cov = np.asarray(self.effect_cov)
        columns = [np.zeros(h.n_bearings, dtype=int)]
        unseen = np.zeros(h.n_bearings)
        for factor, sigma in self.sigma.items():
            codes = getattr(h, factor)
            column = np.array([place.get((factor, int(code)), -1) for code in codes], dtype=int)
            columns.append(column)
            unseen += np.where(column < 0, sigma**2, 0.0)
        total, var = np.zeros(h.n_bearings), unseen
        for one in columns:
            total += np.where(one >= 0, mean[one], 0.0)
            for other in columns:
                var = var + np.where((one >= 0) & (other >= 0), cov[one, other], 0.0)
        return total, np.maximum(var, 0.0)


def _of_class(known: dict[str, float], class_: Any) -> FloatArray:
    """(B,) the value kept for each bearing's class, NaN where there is none."""
    codes = np.array(sorted(int(code) for code in known), dtype=np.int64)
    if not len(codes):
        return np.full(len(class_), np.nan)
    values = np.array([known[str(code)] for code in codes])
    place = np.minimum(np.searchsorted(codes, class_), len(codes) - 1)
    return np.where(codes[place] == class_, values[place], np.nan)
