"""The one table of causes, bars, outcomes and words, which the page without network reads too."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

PATH = Path(__file__).parents[1] / "static" / "inspections" / "contact_table.json"
TABLE: dict[str, Any] = json.loads(PATH.read_text("utf-8"))
VERSION: str = TABLE["version"]  # of causes, bars and words together; kept with every print read by them
