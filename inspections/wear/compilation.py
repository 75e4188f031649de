"""Compiling where numba is there, plain numpy where it is not (``CLEARANCE_NO_NUMBA=1`` asks for the latter).

The kernels are serial and release the interpreter lock: a command runs them in ordinary threads on parts
of the fleet, so no OpenMP or work-queue layer is ever loaded and a web process may fork or use threads.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

try:
    if os.environ.get("CLEARANCE_NO_NUMBA"):
        raise ImportError
    from numba import njit

    COMPILED = True
except ImportError:
    COMPILED = False


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function as machine code that runs without the interpreter lock, or as it is."""
    if not COMPILED:
        return function
    try:
        return njit(cache=True, nogil=True, error_model="numpy")(function)
    except RuntimeError:  # nowhere to keep what was compiled: compiled anew in every process then
        return njit(nogil=True, error_model="numpy")(function)


def either(loops: Callable[..., Any], arrays: Callable[..., Any]) -> Callable[..., Any]:
    """The loop form where it can be compiled, else the same thing written with arrays."""
    return compiled(loops) if COMPILED else arrays
