"""requirements.lock names every installed package with its version, nothing else, and no address."""

import re
import sys
from importlib.metadata import distributions
from pathlib import Path

LOCK = Path(__file__).resolve().parent.parent / "requirements.lock"
PIN = re.compile(r"(?P<name>[a-z0-9][a-z0-9-]*)==(?P<version>[A-Za-z0-9.+!]+)")
# What makes the environment itself, and this project.
NOT_PINNED = {"pip", "setuptools", "wheel", "clearance-ledger"}


def plain_name(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def faults(lines: list[str], installed: dict[str, str]) -> list[str]:
    """What is wrong with the lock's lines, beside what is installed."""
    found, pinned = [], {}
    for number, line in enumerate(lines, start=1):
        pin = PIN.fullmatch(line)
        if pin is None:
            found.append(f"line {number}, '{line}': a pin like name==1.2.3 and nothing else may stand here.")
        else:
            pinned[pin["name"]] = pin["version"]
    for name in sorted(installed.keys() | pinned.keys()):
        here, there = installed.get(name), pinned.get(name)
        if there is None:
            found.append(f"{name} {here} is installed and not pinned; add {name}=={here}.")
        elif here is None:
            found.append(f"{name} {there} is pinned and nothing asks for it; remove the line.")
        elif here != there:
            found.append(f"{name} is installed as {here} and pinned as {there}.")
    return found


def main() -> int:
    installed = {plain_name(dist.name): dist.version for dist in distributions()}
    found = faults(
        LOCK.read_text("utf-8").splitlines(), {k: v for k, v in installed.items() if k not in NOT_PINNED}
    )
    for fault in found:
        print(f"requirements.lock: {fault}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
