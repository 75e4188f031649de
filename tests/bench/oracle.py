"""The same filter told the world's own numbers: nothing beats it by more than chance."""

from __future__ import annotations

import numpy as np

from inspections.wear.parameters import Params
from inspections.wear.population import Pool, Population

from .worlds import SD, World

STEP_MEAN, STEP_SD = 12.0, 5.9  # 12 max(0.1, 1 + 0.5 N)


def true_population(world: World) -> Population:
    """The parameters of a plain-like world, known exactly."""
    params = Params(
        tau=world.sd,
        beta=max(world.beta, 1e-6),
        rho=world.rho_a**2,
        method_sd={"lead wire": float(np.hypot(SD, world.round_to / np.sqrt(12)))},
        step_mean=STEP_MEAN,
        step_sd=STEP_SD,
        new_shift=0.0,
        new_spread=0.1,
        effect_mean=(float(np.log(world.median)),),
        effect_cov=((0.0,),),
    )
    return Population((Pool(0, world.n, world.n, False, True, "", (params,), (1.0,)),))
