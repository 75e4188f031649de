"""The words at the pump as the record keeps them, and as they are said."""

DECIDED_WORDS = {
    "close_up": "close up",
    "scrape": "scrape",
    "replace": "replace",
    "measure": "measure again",
    "repeat": "repeat the print",
    "engineer": "ask the engineer",
    "hold": "hold",
}
