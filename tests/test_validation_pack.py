"""The validation pack stays true: every requirement has a test that is there, every calculation comes out as
written.
"""

import csv
import datetime as dt
import hashlib
import json
import math
import re
from statistics import NormalDist

import numpy as np
import pytest

from fleet.ledger.canonical import canonical, sha256, tree_root
from inspections.visits.verdict import Held, reading_sd_um, verdict
from inspections.wear import crossing
from inspections.wear.predictive import Predictive
from inspections.wear.terms import terms
from inspections.wear.trigger import triggers
from tests.conftest import CHECKOUT

PACK = CHECKOUT / "docs" / "validation"
NORMAL = NormalDist()


def figures(calculation):
    """What the page gives and finds of a calculation, by name, as written."""
    text = (PACK / "calculations.md").read_text("utf-8")
    lines = re.findall(rf"^(given|found)  {calculation}  (\w+) (.+)$", text, re.MULTILINE)
    given = {name: value for kind, name, value in lines if kind == "given"}
    found = {name: value for kind, name, value in lines if kind == "found"}
    assert given and found
    return given, found


def numbers(given):
    return {name: float(value) for name, value in given.items() if re.fullmatch(r"[\d.]+", value)}


def requirements():
    with (PACK / "requirements.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", requirements(), ids=lambda row: row["id"])
def test_every_requirement_names_a_test_that_is_there(row):
    path, _, name = row["test"].partition("::")
    text = (CHECKOUT / path).read_text("utf-8")
    assert row["requirement"].strip() and name
    assert re.search(rf"^def {re.escape(name)}\(", text, re.MULTILINE), row["test"]


def test_no_requirement_stands_twice_and_none_shares_its_words():
    ids, words = ([row[name] for row in requirements()] for name in ("id", "requirement"))
    assert len(set(ids)) == len(ids) >= 40 and len(set(words)) == len(words)


def test_the_date():
    given, found = figures("date")
    n = numbers(given)
    as_of = dt.date.fromisoformat(given["as_of"])
    ahead = n["limit_um"] - n["level_um"]
    by_hand = [
        (ahead + n["level_sd_um"] * NORMAL.inv_cdf(share)) / n["rate_um_per_kh"] * 1000 / n["hours_per_day"]
        for share in (0.1, 0.5, 0.9)
    ]
    of_site, _ = crossing.dates(
        np.array([0, 1]),
        np.array(
            [[1, n["level_um"], n["level_sd_um"] ** 2, n["rate_um_per_kh"], 0, 0, 0, 0, 1, 0]], dtype=float
        ),
        np.array([n["limit_um"]]),
        np.zeros((1, 0)),
        np.array([0.1, 0.5, 0.9]),
        crossing.HORIZON_DAYS,
        np.array([n["hours_per_day"]]),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
        crossing.DUTY_NODES,
        crossing.DUTY_WEIGHTS,
    )
    assert of_site[0] == pytest.approx(by_hand, rel=2e-3)
    for days, name in zip(by_hand, ("early", "even", "late"), strict=True):
        assert (as_of + dt.timedelta(days=int(days))).isoformat() == found[name]


def test_the_verdict():
    given, found = figures("verdict")
    n = numbers(given)
    u = math.sqrt(n["method_sd_um"] ** 2 + (n["step_um"] / math.sqrt(12)) ** 2)
    off, band = n["value_um"] - n["maximum_um"], 1.645 * u
    word = "over" if off > band else "may be over" if off > -band else "inside"
    assert (f"{u:.3f}", word) == (found["uncertainty_um"], found["word"])
    assert f"{NORMAL.cdf(off / u):.4f}" == found["chance_over"]
    assert reading_sd_um(n["method_sd_um"], n["step_um"]) == pytest.approx(u)
    said = verdict(n["value_um"], u, "um", Held(high_um=n["maximum_um"]))
    assert said.word == word and said.p_high == pytest.approx(NORMAL.cdf(off / u), abs=1e-6)


def test_the_trigger():
    given, found = figures("trigger")
    n = numbers(given)
    prior, gauge = n["expected_sd_um"] ** 2, n["gauge_sd_um"] ** 2
    left = math.sqrt(prior * gauge / (prior + gauge))
    to_come = n["rate_um_per_kh"] * n["ahead_kh"]
    highest = n["maximum_um"] - to_come + left * NORMAL.inv_cdf(n["accepted_risk"])
    by_hand = n["expected_um"] + (highest - n["expected_um"]) * (prior + gauge) / prior
    assert f"{by_hand:.3f}" == found["trigger_um"]
    known = terms(
        1,
        limit_um=n["maximum_um"],
        new_um=130,
        reading_sd_um=n["gauge_sd_um"],
        interval_kh=n["ahead_kh"],
        log_rate=math.log(n["rate_um_per_kh"]),
        spread=0.6,
        accepted_risk=n["accepted_risk"],
        scrape_um=12,
        scrape_sd_um=0,
        open_h=8,
        measure_h=4,
        scrape_h=6,
        replace_h=16,
    )
    one = (1.0, math.log(n["rate_um_per_kh"]), n["expected_um"], prior)
    belief = Predictive(*(np.array([[value]]) for value in one), np.array([0.0]))
    of_site, _ = triggers(belief, known, np.zeros(1), np.full(1, n["ahead_kh"]), 20_001)
    assert of_site[0] == pytest.approx(by_hand, abs=0.01)


def test_the_hash():
    given, found = figures("hash")
    entry, leaves = given["entry"], [given["leaf_1"], given["leaf_2"]]
    digest = hashlib.sha256(entry.encode()).hexdigest()
    pair = b"".join(hashlib.sha256(b"\x00" + leaf.encode()).digest() for leaf in leaves)
    root = hashlib.sha256(b"\x01" + pair).hexdigest()
    assert (digest, root) == (found["entry_hash"], found["root"])
    assert canonical(json.loads(entry)) == entry and sha256(entry) == digest
    assert tree_root([leaf.encode() for leaf in leaves]).hex() == root
    assert json.loads(leaves[0])["head"] == digest
