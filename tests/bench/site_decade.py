"""A decade on the site's own path beside the numbers-only players of `plan_decade`: `python -m
tests.bench.site_decade`.

One small world: its history is imported, then outage by outage the fleet is fitted, the plan worked out and
accepted, the pumps opened that it names, each step taken that the pump's page says comes next, the visit
closed. The same shells, wear and readings come to the rules without a site.
"""

from __future__ import annotations

import argparse
import logging
import os
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.decision_world import OUTAGES, Plant
from tests.bench.plan_decade import calibration, price, row, rules

RISK = 0.10


def opponents(chance: Any) -> dict[str, Plant]:
    """The same world under every rule without a site, ours at the same accepted risk."""
    made = {}
    for name, rule in rules().items():
        if name.startswith("this") and not name.endswith(f"a {RISK:.0%}"):
            continue
        plant = made[name] = Plant(chance)
        plant.history()
        for _ in range(OUTAGES):
            rule(plant)
            plant.run()
    return made


def told(looked: Sequence[Any]) -> list[str]:
    """Where plan, pump, the forecast after closing and the rule without a site differ, counted."""
    both = Counter((one.renewed, bool(one.plain_renews)) for one in looked)
    apart = [float(one.held[1]) - one.plain_trigger for one in looked if one.held[1]]
    moved = [abs(float(one.held[1]) - float(one.live[1])) for one in looked if one.held[1] and one.live[1]]
    closed = [one for one in looked if not one.renewed]
    spread = ", ".join(f"{-x:.0f}" for x in np.quantile(apart, [0.95, 0.5, 0.05]))
    return [
        f"{len(looked)} bearings looked at, {sum(one.readings > 1 for one in looked)} measured again,"
        f" {sum(one.signed for one in looked)} words signed by an engineer;"
        f" jobs: {dict(Counter(one.state for one in looked))}",
        f"the plan's trigger is not the pump's: {sum(one.planned != one.held for one in looked)};"
        f" the day's own is more than 2 um off it: {sum(one > 2 for one in moved)}",
        f"closed up although past the maximum: {sum(one.truth_um >= 260 for one in closed)}; with more than"
        f" {RISK:.0%} stated after closing: {sum(one.left > RISK for one in closed)} of {len(closed)}",
        f"new shell by both {both[True, True]}, by neither {both[False, False]}, by the site alone"
        f" {both[True, False]}, by the rule that knows the world alone {both[False, True]}; its trigger less"
        f" the site's, um, 5, 50, 95 %: {spread}",
    ]


def printed(name: str, plant: Plant) -> float:
    """A row of the table; answers the cost at one price."""
    s = row([plant])
    cost = s["net"] + price(RISK) * (s["passings"] + s["past"])
    print(
        f"| {name} | {s['passings']:.1f} | {s['past']:.1f} | {s['shells']:.0f} | {s['openings']:.0f} | "
        f"{s['hours']:.0f} | {s['used']:.2f} | {s['net']:.0f} | {cost:.0f} |",
        flush=True,
    )
    return cost


def main() -> None:
    """Print the table and what was counted."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--bearings", type=int, default=48)
    parser.add_argument("--world", type=int, default=1)
    args = parser.parse_args()
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["DATABASE_URL"] = f"sqlite:///{Path(folder) / 'record.sqlite3'}"
        os.environ["PLAIN_HTTP"] = "yes"
        os.environ.setdefault("SECRET_KEY", "for-this-benchmark-only-" + "0123456789" * 5)
        os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
        import django

        django.setup()
        from django.core.management import call_command
        from django.test.utils import setup_test_environment

        setup_test_environment()
        call_command("migrate", verbosity=0)
        logging.disable(logging.INFO)
        from tests.bench import site_world

        chance = site_world.without_findings(args.bearings, args.world)
        with site_world.clock_in_hand() as hand:
            player = site_world.played_on_site(site_world.Remembered(chance), hand)
        print("| rule | passings | past | shells | openings | hours | life used | net | with passings |")
        print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
        printed(f"on the site, a {RISK:.0%}", player.plant)
        for name, plant in opponents(chance).items():
            printed(name, plant)
        print("", *told(player.looked), calibration([player.plant]), dict(player.count), sep="\n")
        print(f"jobs that came back: {len(player.back)}; {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
