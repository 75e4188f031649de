"""What a workbook says besides its cells' text: struck-out and coloured cells, comments. A guarded child, as
workbook_child.py.

It reads a workbook that workbook_child.py has let pass from standard input and answers with one JSON object:
reported to the user, never understood.
"""

import io
import json
import posixpath
import re
import sys
import zipfile
from xml.etree import ElementTree

try:
    import resource
except ImportError:  # no such limits on Windows; the parent's clock still holds there
    resource = None  # type: ignore[assignment]

MOST = 200
_CELL = re.compile(
    rb"""<(?:\w+:)?c\b(?=[^<>]*\br=["']([A-Z]{1,3}\d+)["'])(?=[^<>]*\bs=["'](\d+)["'])[^<>]*(?<!/)>"""
)


def main() -> None:
    """Answer with what is marked in which tab."""
    if resource is not None:
        for kind, bound in (
            (resource.RLIMIT_AS, 600_000_000),
            (resource.RLIMIT_CPU, 10),
            (resource.RLIMIT_FSIZE, 0),
        ):
            resource.setrlimit(kind, (bound, bound))
    parcel = zipfile.ZipFile(io.BytesIO(sys.stdin.buffer.read()))
    struck, coloured = _styles(parcel)
    said = {}
    for name, part in _tabs(parcel):
        cells = [(m[1].decode(), int(m[2])) for m in _CELL.finditer(parcel.read(part))]
        said[name] = {
            "struck": [ref for ref, style in cells if style in struck][:MOST],
            "n_coloured": sum(style in coloured for _, style in cells),
            "comments": _comments(parcel, part)[:MOST],
        }
    sys.stdout.write(json.dumps(said))


def _local(tag: str) -> str:
    return tag.rpartition("}")[2]


def _styles(parcel: zipfile.ZipFile) -> tuple[set[int], set[int]]:
    """The numbers of the cell formats that strike out, and of those that colour."""
    if "xl/styles.xml" not in parcel.namelist():
        return set(), set()
    groups = {_local(e.tag): list(e) for e in ElementTree.fromstring(parcel.read("xl/styles.xml"))}
    fonts = [
        any(_local(p.tag) == "strike" and p.get("val") != "0" for p in font)
        for font in groups.get("fonts", [])
    ]
    fills = [any(p.get("patternType") == "solid" for p in fill) for fill in groups.get("fills", [])]
    struck, coloured = set(), set()
    for n, one in enumerate(groups.get("cellXfs", [])):
        font, fill = int(one.get("fontId", "0")), int(one.get("fillId", "0"))
        if font < len(fonts) and fonts[font]:
            struck.add(n)
        if fill < len(fills) and fills[fill]:
            coloured.add(n)
    return struck, coloured


def _links(parcel: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Kind and target of what a part refers to, by the reference's id."""
    folder, _, name = part.rpartition("/")
    at = f"{folder}/_rels/{name}.rels"
    if at not in parcel.namelist():
        return {}
    return {
        link.get("Id", ""): (
            link.get("Type", ""),
            posixpath.normpath(posixpath.join(folder, link.get("Target", ""))),
        )
        for link in ElementTree.fromstring(parcel.read(at))
    }


def _tabs(parcel: zipfile.ZipFile) -> list[tuple[str, str]]:
    links, names = _links(parcel, "xl/workbook.xml"), set(parcel.namelist())
    tabs = []
    for element in ElementTree.fromstring(parcel.read("xl/workbook.xml")).iter():
        if _local(element.tag) == "sheet":
            key = next((value for name, value in element.items() if _local(name) == "id"), "")
            target = links.get(key, ("", ""))[1].lstrip("/")
            if target in names:
                tabs.append((element.get("name", ""), target))
    return tabs


def _comments(parcel: zipfile.ZipFile, part: str) -> list[tuple[str, str]]:
    found = []
    for kind, target in _links(parcel, part).values():
        if kind.endswith("/comments") and target in parcel.namelist():
            for one in ElementTree.fromstring(parcel.read(target)).iter():
                if _local(one.tag) == "comment":
                    text = "".join(t.text or "" for t in one.iter() if _local(t.tag) == "t")
                    found.append((one.get("ref", ""), text[:300]))
    return found


if __name__ == "__main__":
    main()
