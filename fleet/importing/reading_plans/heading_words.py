"""Words that headings and cells of old sheets use for the template's own; common practice, no published
source.
"""

import re
from functools import lru_cache
from typing import Any

from fleet.measuring_methods import heard_in
from fleet.unit_words import basis_in, units_in

_STAGES = {
    "as_found": r"as[ _-]?found|found|before|a\.?f\.?|initial|dismantl\w*|in|opening|pre|vorher|vorgefunden",
    "as_left": r"as[ _-]?left|left|after|a\.?l\.?|final|set|reassembl\w*|rebuild|closing|post|out|nachher",
}


@lru_cache(maxsize=1000)
def stage_word(text: str) -> str:
    """`as_found` or `as_left` for a word that means one; blank for none.

    >>> stage_word("As Found"), stage_word("AL"), stage_word("spare")
    ('as_found', 'as_left', '')
    """
    bare = text.strip().casefold()
    return next((stage for stage, words in _STAGES.items() if re.fullmatch(words, bare)), "")


_USES: tuple[tuple[str, str], ...] = (
    ("entry_id", r"entry id|row id|record no\.?|rec\.? no\.?"),
    (
        "remark",
        (
            r".*(?:remark|comment|note|work done|action|observation|what was"
            r" done|history|bemerkung|befund|notiz).*"
        ),
    ),
    ("checked_by", r".*(?:checked|verified|witness|approved).*"),
    ("by", r"by|measured by|fitter|mech(?:anic)?|technician|name|who|done by|taken by|initials?"),
    (
        "run_hours",
        (
            r".*(?:run.{0,5}h(?:ou)?rs?|h(?:ou)?rs?\.? ?run|running|hour"
            r" ?meter|\bhrs?\b|\bhours\b|meter|h\.?m\.?r?\b|stunden).*"
        ),
    ),
    ("starts", r"(?:no\.? of )?starts"),
    ("site", r"site|station|plant|location|works|werk|standort|anlage"),
    ("unit", r"units?|u\.?o\.?m\.?|einheit"),
    ("method", r".*(?:method|gauge used|how measured|how taken|(?:measured|taken) with).*"),
    ("instrument", r"instrument.*|gauge (?:no|id).*"),
    ("stage", r"stage|found ?/ ?left|when taken|condition|a/?f ?/ ?a/?l"),
    ("outage", r"outage|shutdown|overhaul (?:no|name).*|campaign"),
    ("job", r".*(?:job|work ?order|w\.?o\.?|order|auftrag) ?(?:no|nr|number|#)?\.?"),
    ("shell", r"shell|.*(?:shell|serial) ?(?:no|nr|number|id)\.?|serial"),
    (
        "date",
        (
            r".*(?:date|day|when|month|datum).*|year|jahr|monat|overhaul(?:ed)?(?: on)?|inspect(?:ed|ion)(?:"
            r" on)?"
        ),
    ),
    (
        "position",
        (
            r"(?:brg|bearing|position|pos|end|de ?/ ?nde|side|journal|lager(?:stelle)?|seite)\.?(?:"
            r" (?:end|pos(?:ition)?|no|name))?\.?"
        ),
    ),
    (
        "pump",
        (
            r".*(?:pumpe?|tag|equip(?:ment)?|machine|item|unit no|maschine|aggregat)\.?(?:"
            r" ?(?:no|id|tag|name|item))?\.?"
        ),
    ),
)
_QUANTITIES: tuple[tuple[str, str], ...] = (
    ("side_gap", r"side ?(?:gap|cl)"),
    ("end_float", r"end ?(?:float|play)|thrust|axial|l\u00e4ngsspiel"),
    ("bore", r"\bbore\b(?! gauge)"),
    ("journal", r"journal (?:dia|od|ø)|shaft (?:dia|od|ø)"),
    ("wall", r"\bwall|crown|thickness"),
    ("shaft_drop", r"\bdrop\b|bridge|depth"),
    ("housing_fit", r"housing|crush|pinch|nip"),
    ("clearance", r"clear|spiel|\bcl\b|\bclr|top|vertical|\bgap\b|lead|plasti|strip"),
)
_ENDS: tuple[tuple[str, str], ...] = (
    ("in", r"\binner|inboard|\bin(?:side)?\b|pump side|impeller side"),
    ("out", r"\bouter|outboard|\bout(?:side)?\b|coupling side|cplg"),
    ("mid", r"\bmid(?:dle)?\b|centre|center"),
)
_FOUND = re.compile(
    r"as ?found|vorgefunden|\bvorher\b|\bfound\b|\bbefore\b|\ba\.?f\b|\bpre\b|on opening|dismantl",
    re.IGNORECASE,
)
_LEFT = re.compile(
    r"as ?left|\bnachher\b|\bleft\b|\bafter\b|\ba\.?l\b|\bpost\b|on closing|assembl|new clear|\bset\b",
    re.IGNORECASE,
)


def use_of(heading: str) -> str:
    """What a column under a heading probably holds; blank where the heading tells nothing."""
    parts = [part.strip().casefold() for part in heading.split(" / ") if part.strip()]
    for text in (*reversed(parts), " ".join(parts)):
        for use, words in _USES:
            if re.fullmatch(words, text):
                return use
    return ""


def first_word(table: tuple[tuple[str, str], ...], text: str) -> str:
    return next((word for word, pattern in table if re.search(pattern, text, re.IGNORECASE)), "")


def value_words(heading: str) -> dict[str, Any]:
    """What a heading says of the values below it: quantity, stage, end, clock, method, unit, basis, date.

    >>> value_words("As found / DE / inner (thou)") == {"stage": "as_found", "end": "in", "unit": "thou"}
    True
    """
    said = {
        "quantity": first_word(_QUANTITIES, heading),
        "method": heard_in(heading),
        "end": _end_of(heading),
        "unit": _unit_of(heading),
        "stage": "as_found" if _FOUND.search(heading) else "as_left" if _LEFT.search(heading) else "",
        "basis": basis_in(heading),
    }
    clock = re.search(r"\b(1[0-2]|[1-9]) ?o'?clock", heading, re.IGNORECASE)
    if clock:
        said["clock"] = clock[1]
    elif re.search(r"\bbottom\b", heading, re.IGNORECASE):
        said["clock"] = "6"
    year = re.fullmatch(r"(?:.* / )?((?:19|20)[0-9]{2})", heading)
    if year:
        said["date"] = year[1]
    if said["quantity"] == "clearance":
        said["quantity"] = ""
    return {name: word for name, word in said.items() if word}


def _unit_of(heading: str) -> str:
    """The one unit a heading names; blank for none and for several."""
    units = units_in(heading)
    return units[0] if len(units) == 1 else ""


def _end_of(heading: str) -> str:
    """The end a heading names; the `in` of inches is none.

    >>> _end_of("DE (in)"), _end_of("as found / in"), _end_of("DE inner (in)")
    ('', 'in', 'in')
    """
    bare = re.sub(r"[(\[] ?(?:in|inch(?:es)?)\.? ?[)\]]", "", heading, flags=re.IGNORECASE)
    return first_word(_ENDS, bare)


_ENDS_OF_MAKERS = re.compile(r"\b(AS|BS|CA|COA|LA|LOA)(?= ?(?:$|[/(,;\[]|mm|[uµμ]m|in\b|thou|mils?\b))")


def position_in(heading: str) -> str:
    """The bearing position a heading names: DE, NDE, AS, or `brg 1`.

    >>> position_in("As found / N.D.E. / inner"), position_in("Drive end"), position_in(
    ...     "Bearing 2 (mm)"
    ... ), position_in("date")
    ('NDE', 'DE', 'Bearing 2', '')
    >>> position_in("Spiel AS"), position_in("BS (mm)"), position_in("AS FOUND"), position_in("as left")
    ('AS', 'BS', '', '')
    """
    bare = heading.replace(".", "")
    if re.search(r"\bN-?DE\b|\bnon[- ]?drive|\bfree end|\bF/?E\b", bare, re.IGNORECASE):
        return "NDE"
    if re.search(r"\bDE\b|\bdrive[- ]?end|\bcoupling end", bare, re.IGNORECASE):
        return "DE"
    if maker := _ENDS_OF_MAKERS.search(heading):
        return maker[1]
    found = re.search(r"\b((?:brg|bearing|pos)\.? ?(?:no\.? ?)?[A-D1-8])\b", heading, re.IGNORECASE)
    return found[1] if found else ""


_BEHIND = re.compile(
    r"(?P<tag>.*?[^\s,;/_-])[\s,;/_-]+(?P<position>N\.?-?D\.?E\.?|D\.?E\.?|(?:non[- ]?)?drive"
    r" end|(?:brg|bearing|pos)\.? ?(?:no\.? ?)?[A-D1-8]|A\.?S\.?|B\.?S\.?)",
    re.IGNORECASE,
)


def tag_and_position(text: str) -> tuple[str, str]:
    """A pump's name and the position written behind it; blank where none is.

    >>> tag_and_position("K1 DE"), tag_and_position("P-101A / N.D.E."), tag_and_position("Lift 2")
    (('K1', 'DE'), ('P-101A', 'N.D.E.'), ('Lift 2', ''))
    """
    found = _BEHIND.fullmatch(" ".join(text.split()))
    return (found["tag"], found["position"]) if found else (text, "")


def year_in_name(text: str) -> str:
    """The one year in a tab's name; blank for none and for several.

    >>> year_in_name("Overhauls 2019"), year_in_name("2018-2019"), year_in_name("P-2015")
    ('2019', '', '2015')
    """
    years = set(re.findall(r"(?<!\d)(?:19|20)\d{2}(?!\d)", text))
    return years.pop() if len(years) == 1 else ""


def name_in_title(text: str) -> str:
    """The name in a title.

    >>> name_in_title("Pump: P-101A"), name_in_title("Overhauls of Lift 2"), name_in_title("P-7")
    ('P-101A', 'Lift 2', 'P-7')
    """
    bare = text.rpartition(":")[2] if ":" in text else text
    return re.sub(r"(?i)^.*\b(?:pump(?: no\.?)?|of|for|tag)\b[ .#]+(?=\S)", "", " ".join(bare.split()))
