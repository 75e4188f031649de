"""Errors of `mypy --strict` by room: none may have more than .ci/strict_types.txt allows. `--write` takes
fewer down.
"""

import re
import subprocess
import sys
from collections import Counter
from pathlib import Path

ALLOWED = Path(__file__).with_suffix(".txt")
ERROR = re.compile(r"(?P<path>[^:]+\.py):\d+: error:")


def room(path: str) -> str:
    """The folder below the app, or the app's own files: 'inspections/views', 'fleet'."""
    parts = path.split("/")
    return "/".join(parts[:2]) if len(parts) > 2 else parts[0]


def counted(lines: list[str]) -> Counter[str]:
    """Errors by room.

    >>> counted(["fleet/views/a.py:3: error: x", "fleet/b.py:9: error: y", "fleet/b.py:9: note: z"])
    Counter({'fleet/views': 1, 'fleet': 1})
    """
    return Counter(room(match["path"]) for line in lines if (match := ERROR.match(line)))


def allowed(text: str) -> Counter[str]:
    """The file's numbers by room."""
    return Counter({name: int(n) for n, name in (line.split() for line in text.splitlines())})


def worse(now: Counter[str], before: Counter[str]) -> list[str]:
    """A sentence for every room with more errors than are allowed.

    >>> worse(Counter({"fleet": 3}), Counter({"fleet": 2, "inspections/trend": 1}))
    ['fleet: 3 errors under mypy --strict, 2 are allowed. Give what is new its types.']
    """
    return [
        f"{name}: {n} errors under mypy --strict, {before[name]} are allowed. Give what is new its types."
        for name, n in sorted(now.items())
        if n > before[name]
    ]


def main(arguments: list[str]) -> int:
    cache = ["--cache-dir", ".mypy_cache/strict"]
    made = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", *cache], capture_output=True, text=True, check=False
    )
    if made.returncode not in (0, 1) or "errors prevented further checking" in made.stdout:
        print(made.stdout, made.stderr)
        return 2
    now = counted(made.stdout.splitlines())
    if arguments == ["--write"]:
        ALLOWED.write_text("".join(f"{n} {name}\n" for name, n in sorted(now.items())), "utf-8")
    before = allowed(ALLOWED.read_text("utf-8"))
    print("\n".join(worse(now, before)) or f"{now.total()} strict errors, {before.total()} are allowed.")
    return 1 if worse(now, before) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
