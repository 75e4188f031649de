"""The contact reader before the second judge: a short run of a fixed seed, and the judge's own press against
circles.

The full tables come from `python -m tests.bench.judge_contact`.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from . import judge_contact
from .judge_bars import confused, row, weighed
from .judge_contact import GROUPS, random_trials
from .judge_eye import Dye, careful, pressed
from .judge_press import Shell, free_gap, lowered, scattered

SEED, TRIALS = 31, 150
LEAST_RIGHT, MOST_UNSAFE, MOST_UNSAFE_OF_A_GROUP = 0.64, 4, 2


@pytest.fixture(scope="module")
def trials():
    return random_trials(TRIALS, SEED)


def within_bounds(trials, which):
    verdicts = [t.verdicts[which] for t in trials]
    groups = [sum(t.verdicts[which].unsafe for t in trials if t.kind in kinds) for kinds in GROUPS.values()]
    return (
        sum(v.right for v in verdicts) >= LEAST_RIGHT * len(verdicts)
        and sum(v.unsafe for v in verdicts) <= MOST_UNSAFE
        and max(groups) <= MOST_UNSAFE_OF_A_GROUP
    )


@pytest.mark.parametrize("which", [0, 1], ids=["first print", "laid in again"])
def test_the_reader_holds_before_the_second_judge(trials, which):
    assert within_bounds(trials, which)


def test_a_turned_shell_reads_the_same(trials):
    assert all(v.alike for t in trials for v in t.verdicts)


def test_nothing_is_scraped_on_a_first_print(trials):
    assert not [t.kind for t in trials if t.verdicts[0].outcome in ("scrape", "engineer")]


@pytest.mark.parametrize("outcome", ["acceptable", "repeat", "measure", "seat", "alignment", "scrape"])
def test_a_reader_with_one_answer_is_found_out(monkeypatch, outcome):
    answer = SimpleNamespace(
        outcome=outcome, code="", causes=(), engineer=False, as_earlier=lambda: None, places=()
    )
    monkeypatch.setattr(judge_contact, "read_print", lambda *_: answer)
    assert not within_bounds(random_trials(TRIALS, SEED), 1)


def test_a_reader_that_sees_the_sides_as_the_bottom_is_found_out(monkeypatch):
    read = judge_contact.read_print
    monkeypatch.setattr(
        judge_contact, "read_print", lambda cells, *rest: read(np.roll(cells, len(cells) // 2, axis=0), *rest)
    )
    assert not within_bounds(random_trials(TRIALS // 2, SEED), 1)


def test_a_round_bore_prints_to_the_angle_of_two_circles():
    x, a = scattered(np.random.default_rng(1))
    gap = lowered(Shell(r=80.0, held=True), x, a)
    assert math.degrees(np.abs(a[gap < 10.0]).max()) == pytest.approx(
        math.degrees(math.acos(1 - 10 / 80)), abs=1.5
    )


def test_a_pinched_shell_carries_at_sixty_degrees_and_hangs_clear_below():
    x, a = scattered(np.random.default_rng(2))
    gap = lowered(Shell(r=10.0, pinch=8.0, held=True), x, a)
    assert np.abs(np.degrees(a[gap < 0.01])).mean() == pytest.approx(60.0, abs=2.0)
    assert gap[np.abs(a) < 0.05].mean() == pytest.approx(2.0, abs=0.05)


def test_a_worn_shell_beds_over_its_own_arc():
    x, a = scattered(np.random.default_rng(3))
    gap = lowered(Shell(r=65.0, worn=100.0, held=True), x, a)
    assert 2 * math.degrees(np.abs(a[gap < 0.01]).max()) == pytest.approx(133.6, abs=3.0)


def test_a_free_shaft_rolls_down_to_its_friction_and_a_mandrel_follows_a_tilt():
    x, a = scattered(np.random.default_rng(4))
    rest = lowered(Shell(r=80.0, at_side=math.radians(20.0), friction=0.12), x, a)
    assert math.degrees(a[rest < 0.02].mean()) == pytest.approx(6.8, abs=1.5)
    along = lowered(Shell(r=80.0, tilt=40.0, mandrel=True), x, a)
    assert along[np.abs(a) < 0.05].max() < 1.0
    assert free_gap(Shell(r=80.0), x, a) == pytest.approx(80.0)


def test_one_bearing_taps_one_print():
    shell, dye = Shell(r=80.0, tilt=60.0, held=True), Dye(10.0)
    cells = pressed(shell, dye, careful(), (5, 7), np.random.default_rng(5)).cells
    assert cells[2].tolist()[-1] == 2
    assert cells[:, :3].sum() == 0


def test_prints_decided_again_by_the_same_rules_come_out_as_they_were_read():
    prints = weighed(4, 31207)
    assert [one.decided() for one in prints] == [[v.outcome for v in one.trial.verdicts] for one in prints]
    assert row("as they are", prints).count("/") == 8 and len(confused(prints, 0)) > 1
