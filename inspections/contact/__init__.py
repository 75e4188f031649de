"""Reads a contact pattern at an open bearing: numbers in, an outcome with its reasons out; no Django."""

from .criteria import PRACTICE, Criteria, FilmClass
from .facts import Facts
from .pattern import COLUMNS, NAMES, ROWS, PatternError, checked, named, text, turned

__all__ = [
    "COLUMNS",
    "NAMES",
    "PRACTICE",
    "ROWS",
    "Criteria",
    "Facts",
    "FilmClass",
    "PatternError",
    "checked",
    "named",
    "text",
    "turned",
]
