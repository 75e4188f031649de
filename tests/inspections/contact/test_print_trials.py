"""150 prints of a press that shares no code with the reader's: a small `python -m
tests.bench.trial_press`.
"""

import numpy as np
import pytest

from inspections.contact.pattern import turned
from inspections.contact.reader import read_print
from tests.bench.trial_press import KINDS, TRUE, draw, pressed, score, trials


@pytest.fixture(scope="module")
def made():
    return trials(150, 640_517)


def test_of_150_prints_most_are_read_right_and_hardly_any_unsafely(made):
    s = score(made)
    total = s.total
    assert total["first"] == total["again"] == 150
    for stage in ("first", "again"):
        assert total[f"{stage} right"] >= 0.72 * 150
        assert total[f"{stage} unsafe"] <= 4


def test_no_print_reads_otherwise_when_its_shell_is_turned(made):
    for trial, cells, _ in made:
        plain = read_print(cells, trial.check)
        other = read_print(turned(cells), trial.check.turned())
        assert (other.outcome, other.code, other.causes, other.end) == (
            plain.outcome,
            plain.code,
            plain.causes,
            plain.end,
        )


def test_a_wrong_reading_is_counted_as_wrong():
    # The measure itself must be able to fail: a straight shaft's print told as a pinched one's, and the other
    # way.
    rng = np.random.default_rng(4)
    good, pinched = (clearly(kind, rng) for kind in ("good", "pinched"))
    fit, astride = pressed(good, rng), pressed(pinched, rng)
    wrong = score([(good, astride, astride), (pinched, fit, fit)]).total
    assert wrong["first right"] == 0
    right = score([(good, fit, fit), (pinched, astride, astride)]).total
    assert right["first right"] == 2


def clearly(kind, rng):
    """A trial of this kind on the fine grid, its film rightly said to be normal."""
    return next(
        t
        for t in (draw(kind, rng) for _ in range(500))
        if t.check.film == "normal" and 8 < t.film < 14 and t.rows == 10
    )


def test_every_kind_is_pressed_and_has_its_true_causes():
    assert set(TRUE) == set(KINDS)
    rng = np.random.default_rng(1)
    for kind in KINDS:
        trial = draw(kind, rng)
        assert pressed(trial, rng).shape == (trial.rows, trial.columns)
