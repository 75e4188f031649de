"""What all earlier shells of a place say of the next one, which the decision tables leave to the present one:
it changes no word, no day and no trigger.
"""

from __future__ import annotations

import numpy as np

from inspections.wear.decision import decide, outages

from .decision_makers import STANDARD, belief, standard

RHO, TAU, N = 0.5, STANDARD["spread"], 40


def test_two_earlier_shells_known_perfectly_move_no_decision_of_a_third():
    """A place's node p given two earlier nodes has variance 1 / (1 + 2 rho / (1 - rho)); given p and the
    present life the next is normal, in the terms' form with a mean, memory and spread of its own.
    """
    rng = np.random.default_rng(5)
    place_var = 1.0 / (1.0 + 2.0 * RHO / (1.0 - RHO))
    place = np.sqrt(1.0 - place_var) * rng.normal(size=N)
    present_var = RHO * place_var + 1.0 - RHO
    z = np.sqrt(RHO) * place + np.sqrt(present_var) * rng.normal(size=N)
    memory = RHO * place_var / present_var
    next_var = RHO * place_var * (1.0 - RHO) / present_var + 1.0 - RHO
    by_all = standard(
        N,
        log_rate=STANDARD["log_rate"] + TAU * np.sqrt(RHO) * place,
        memory=memory,
        spread=TAU * np.sqrt(next_var / (1.0 - memory**2)),
    )
    by_present = standard(N, memory=RHO)
    p = belief(rng.uniform(150.0, 245.0, N), 8.0, np.exp(STANDARD["log_rate"] + TAU * z), 0.15)
    at = np.array([[6.6, 19.7, 32.9]] * N)
    a, b = (decide(p, t, outages(at, t), np.arange(N), np.full(N, 8.0)) for t in (by_present, by_all))
    assert np.array_equal(a.word, b.word) and np.array_equal(a.first, b.first)
    finite = np.isfinite(a.openings.trigger_um)
    assert finite.sum() > N / 4
    assert np.array_equal(a.openings.trigger_um, b.openings.trigger_um)
    assert not np.array_equal(a.openings.value, b.openings.value)
