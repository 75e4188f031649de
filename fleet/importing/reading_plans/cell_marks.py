"""Struck-out and coloured cells and comments of a workbook, in sentences: reported, never understood."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fleet import sheets

_CHILD = Path(sheets.__file__).with_name("marks_child.py")
_SECONDS = 15
SHOWN = 6


def marks_of(data: bytes) -> dict[str, Any]:
    """By tab what is marked; nothing for a CSV, and for a workbook whose marks cannot be read."""
    if not data.startswith(b"PK"):
        return {}
    try:
        done = subprocess.run(
            [sys.executable, "-I", str(_CHILD)],
            input=data,
            capture_output=True,
            timeout=_SECONDS,
            env={},
            check=False,
        )
    except subprocess.TimeoutExpired:
        return {}
    return json.loads(done.stdout) if done.returncode == 0 and done.stdout else {}


def sentences(marks: dict[str, Any]) -> Iterator[str]:
    """What is marked, and that it was not understood."""
    for tab, said in marks.items():
        if struck := said["struck"]:
            more = f" and {len(struck) - SHOWN} more" if len(struck) > SHOWN else ""
            cells = ", ".join(struck[:SHOWN]) + more
            yield (
                f"tab '{tab}' has struck-out cells ({cells}); they are read like the others: set aside what"
                " does not hold"
            )
        if said["n_coloured"]:
            yield f"tab '{tab}' has {said['n_coloured']} coloured cells; what the colours mean is not read"
        if comments := said["comments"]:
            first = "; ".join(f"{ref}: {text}" for ref, text in comments[:SHOWN])
            n = len(comments)
            yield f"tab '{tab}' has {n} comment{'s' if n > 1 else ''}, not read ({first})"
