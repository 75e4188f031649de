"""The scripts of the pages are modules that import one another by where they stand among the static files."""

import posixpath
import re
from pathlib import Path

from django.contrib.staticfiles import finders
from whitenoise.storage import CompressedManifestStaticFilesStorage

_IMPORTED = re.compile(r'^import [^"]+ from "(\.[^"]+)";$', re.MULTILINE)


class HashedFiles(CompressedManifestStaticFilesStorage):  # type: ignore[misc]  # whitenoise states no types
    """Static files under addresses that hold their hashes, in the imports of a script too."""

    support_js_module_import_aggregation = True


def text_of(name: str) -> str:
    """A static file of the site as text; empty where there is none of the name."""
    found = finders.find(name)
    return Path(str(found)).read_text("utf-8") if found else ""


def with_imports(*entries: str) -> list[str]:
    """The named scripts and what they import, through others too; each once."""
    known: list[str] = []
    asked = list(entries)
    for name in asked:
        if name not in known:
            known.append(name)
            asked += [
                posixpath.normpath(posixpath.join(posixpath.dirname(name), path))
                for path in _IMPORTED.findall(text_of(name))
            ]
    return known
