"""The pages' own scripts run without a browser, in the engine that the browser driver brings along."""

import json
import subprocess
from pathlib import Path
from typing import Any

from playwright._impl._driver import compute_driver_executable

STATIC = Path(__file__).parents[1] / "inspections" / "static" / "inspections"
# What the scripts export is there by its name. Each line has a function and its argument, each answer
# is a line too.
LOOP = """
import { createInterface } from "node:readline";
for (const path of process.argv.slice(1)) Object.assign(globalThis, await import(path));
for await (const line of createInterface({ input: process.stdin })) {
  const { act, given } = JSON.parse(line), made = (0, eval)(`(${act})`)(given);
  process.stdout.write(`${JSON.stringify(made === undefined ? null : made)}\\n`);
}
"""


class PageScripts:
    """Some scripts of the pages, imported and asked as a page would ask them."""

    def __init__(self, *names: str) -> None:
        node, _ = compute_driver_executable()
        self._run = subprocess.Popen(
            [str(node), "--input-type=module", "-e", LOOP, *(str(STATIC / name) for name in names)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def evaluate(self, act: str, given: Any = None) -> Any:
        """What a function of the page gives for an argument, both as JSON."""
        assert self._run.stdin is not None and self._run.stdout is not None
        self._run.stdin.write(f"{json.dumps({'act': act, 'given': given})}\n")
        self._run.stdin.flush()
        answer = self._run.stdout.readline()
        assert answer, f"the script failed: {act}"
        return json.loads(answer)

    def close(self) -> None:
        """End the engine."""
        assert self._run.stdin is not None
        self._run.stdin.close()
        self._run.wait(timeout=10)
