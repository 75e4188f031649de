"""Whether the fleet wears evenly with its hours or along a curve of a shell's age, in one sentence."""

from collections.abc import Sequence

import numpy as np

from inspections.forecasts.computation import STEADY_WITHIN
from inspections.wear.normal import NINE_IN_TEN
from inspections.wear.population import Pool


def curve_sentence(pool: Pool) -> str:
    """How wear goes with a shell's age in a pool of bearings of one clock; empty where the fleet cannot tell.

    The exponent is the mode's; its interval, where the fleet is small enough for the designs round the mode
    to be carried (`docs/wear-model.md`, section 4), holds the true one in 9 of 10 cases.
    """
    exponent = pool.designs[0].exponent
    if exponent == 1.0:
        return ""
    if abs(exponent - 1.0) < STEADY_WITHIN:
        return (
            f"Wear goes evenly with a shell's hours: the exponent of age is {exponent:.2f}{_interval(pool)}."
        )
    more = 2.0**exponent
    how = "faster" if exponent > 1.0 else "slower"
    return (
        f"Shells wear {how} as they grow older: wear goes with a shell's age to the power"
        f" {exponent:.2f}{_interval(pool)}, so at twice its age a shell has worn {more:.1f} times as much."
        " The dates follow that curve."
    )


def own_exponents_sentence(own: Sequence[tuple[str, float]]) -> str:
    """Which classes' dates follow another exponent of age than the fleet's; those of even wear are not named.

    >>> own_exponents_sentence([("Hill", 1.98), ("River", 1.02)])
    "In class Hill the dates follow a shell's age to the power 1.98."
    """
    bent = [(name, q) for name, q in own if abs(q - 1.0) >= STEADY_WITHIN]
    if not bent:
        return ""
    (name, q), *more = bent
    others = "".join(f", in class {name} {q:.2f}" for name, q in more)
    return f"In class {name} the dates follow a shell's age to the power {q:.2f}{others}."


def other_curves_sentence(names: Sequence[str]) -> str:
    """Which classes wear along another curve than their dates are told from; `""` stands for the whole fleet.

    >>> other_curves_sentence(["Hill", "River"])[:43]
    'Classes Hill and River together wear along '
    """
    if not names:
        return ""
    who = "The bearings of the whole fleet"
    if names[0]:
        *most, last = names
        who = f"Classes {', '.join(most)} and {last}" if most else f"The bearings of class {last}"
    return (
        f"{who} together wear along another curve than the one their dates are told from: none of them is"
        " called “ok” until it is opened and measured."
    )


def _interval(pool: Pool) -> str:
    """The 90 % interval by the designs carried, their logarithms taken as normal; nothing where only the mode
    is.
    """
    weights = np.array(pool.weights)
    logs = np.log([design.exponent for design in pool.designs])
    if np.count_nonzero(weights) < 2:
        return ""
    mean = float(weights @ logs)
    sd = float(np.sqrt(weights @ (logs - mean) ** 2))
    low, high = np.exp(mean - NINE_IN_TEN * sd), np.exp(mean + NINE_IN_TEN * sd)
    return f" (9 in 10: {low:.2f} to {high:.2f})"
