"""Reads a contact pattern at an open bearing: numbers in, an outcome with its reasons out; no Django."""

from .criteria import GEOMETRY, PRACTICE, Criteria, FilmClass
from .facts import Facts
from .geometry import clearance_ratio, film_arc_deg
from .pattern import COLUMNS, NAMES, ROWS, PatternError, checked, named, text, turned
from .reading import OUTCOMES, SHAPES, Reading, read
from .rules import Arc
from .saying import Reason
from .spots import Spot
