"""One question asked of many rows: on a line each while they are few, on one line for all
when they are many.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow

# So many lines of one question are still read; more hide the others.
MOST_LINES = 20


def ask_alike(
    some: Sequence[ParsedRow],
    column: str,
    expected: str,
    remedy: str,
    code: str,
    found: str | None = None,
    about: str = "",
) -> Iterator[Finding]:
    """The same question about rows alike; one finding that names the other rows where they are many."""
    if len(some) <= MOST_LINES:
        for row in some:
            yield replace(row.question(column, expected, remedy, code, found), about=about)
        return
    rest = tuple(row.number for row in some[1:])
    asked = some[0].question(column, expected, remedy + _also_in(rest), code, found)
    yield replace(asked, rows=rest, about=about)


def _also_in(numbers: Sequence[int]) -> str:
    listed = ", ".join(str(number) for number in numbers[:3])
    return f"; the same in rows {listed} and {len(numbers) - 3} more"
