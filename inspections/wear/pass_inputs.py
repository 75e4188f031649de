"""What one pass of the filter is given, as records of arrays that compiled code takes whole."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray, IntArray


class Steps(NamedTuple):
    """Events of B bearings: bearing i has ``start[i]`` to ``stop[i]`` (B,); the rest are (E,)."""

    start: IntArray
    stop: IntArray
    op: NDArray[np.int8]
    du: FloatArray  # exposure since the event before (kh)
    a: FloatArray
    b: FloatArray
    c: FloatArray
    jump: FloatArray  # what running in adds before the event (um), and its variance
    jump_var: FloatArray
    zero: NDArray[np.int8]  # series of a measured drop


class Priors(NamedTuple):
    """What is expected of B bearings before their first event, each (B,)."""

    loc: FloatArray  # mean and spread of the log rate
    tau: FloatArray
    rho: FloatArray  # what of it stays at a change of shell
    beta: FloatArray  # unevenness (um)
    m0: FloatArray  # starting level (um), its variance, and how far it leans on the rate
    v0: FloatArray
    lean: FloatArray


class Spread(NamedTuple):
    """How log rates are spread, in units of tau, at the K nodes of the grid; see ``shape``."""

    x: FloatArray  # what tau multiplies, bent to the fleet's own spread
    mixture: FloatArray  # the same without the bend: the outlying share alone, in which lives remember
    outlying: float  # share of outlying rates, and how many times as widely they are spread
    times: float


class Memory(NamedTuple):
    """What the lives of a place have in common, at K nodes of the place and of a life; see
    ``grid.remember``.
    """

    table: FloatArray  # (2, K, K) chance of a life's node given its place's, in rows of either
    place: FloatArray  # (K,) what is believed of a place's node before any life
    outlying: FloatArray  # (K,) chance that a place at this node is an outlying one
