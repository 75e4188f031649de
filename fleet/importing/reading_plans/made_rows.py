"""Rows of the history template made from rows of a plant's own sheet, with where each of
their cells stood.
"""

from dataclasses import dataclass, replace

from fleet.importing.findings import Finding


@dataclass(slots=True)
class Made:
    """One row of the template made from a row of the sheet, with where each of its cells stood.

    `question`: why it cannot be read yet; such a row waits and is not checked.
    """

    cells: dict[str, str]
    held: dict[str, int]
    tab: str
    row: int
    columns: dict[str, int]
    question: Finding | None = None


def copy_of(made: Made) -> Made:
    return replace(made, cells=dict(made.cells), held=dict(made.held), columns=dict(made.columns))


def each_once(made: list[Made]) -> list[Made]:
    """The same word at both ends of one bearing is one event."""
    seen: dict[tuple[tuple[str, str], ...], Made] = {}
    out = []
    for one in made:
        if one.cells.get("event") == "opened":
            key = tuple(sorted((name, text) for name, text in one.cells.items()))
            if key in seen:
                seen[key].columns |= {f"again {j}": j for j in one.columns.values()}
                continue
            seen[key] = one
        out.append(one)
    return out
