"""Words for units of length, and for radial and diametral, as headings, titles and notes of sheets write
them.

English, German and French; common practice, no published source. What a text names is offered or asked about,
never taken unseen.
"""

import re
from functools import lru_cache

from fleet.units import UnknownUnit, canonical_unit

HUNDREDTHS = "1/100 mm"

_HUNDREDTH = (
    r"1 ?/ ?100 ?(?:th )?(?:of )?(?:a )?mm\b|(?:^|\bin |[(\[,;] ?)1 ?/ ?100(?=\s*(?:$|[)\],;]))|\b0?[.,]01"
    r" ?mm\b"
    r"|\bhundredths?(?: of (?:a |one )?(?:mm|millimet(?:re|er)))?\b|\bhundertstel(?:[-"
    r" ]?(?:mm|millimeter))?\b"
    r"|\bcenti[eè]mes?(?: de (?:mm|millim[eè]tre))?\b"
)
_THOUSANDTH = (
    r"1 ?/ ?1000 ?(?:th )?(?:of )?(?:an? )?(?:in\b|inch(?:es)?\b|\"|'')|\b0?[.,]001"
    r" ?(?:in\b|inch(?:es)?\b|\"|'')"
    r"|\bthou(?:s|sandths?(?: of an inch)?)?\b"
)
_MICRON = (
    r"[µμ]m\b|\bmicrons?\b|\b(?:in mi[ck]romet(?:re|er)|mi[ck]romet(?:re|er)s)\b|\bmicrom[eè]tres\b|1 ?/"
    r" ?1000 ?mm\b"
    r"|\b0?[.,]001 ?mm\b"
)
_PATTERNS: tuple[tuple[str, str], ...] = (
    ("", r"\bhundredths? of an? inch\b"),  # a length that no unit here is; nothing is read into it
    (HUNDREDTHS, _HUNDREDTH),
    ("thou", _THOUSANDTH),
    ("um", _MICRON),
    ("um", r"(?:[(\[]\s*um\s*[)\]]|\b(?:in|units?:?) um\b|[0-9] ?um\b|[,;/] ?um\s*$|^um$)"),
    ("mil", r"\bmils?\b"),
    ("mm", r"\bmm\b|\bmillimet(?:re|er)s?\b|\bmillim[eè]tres?\b"),
    (
        "in",
        (
            r"\binch(?:es)?\b|\bzoll\b|\bpouces?\b|[(\[] ?(?:in\.?|\") ?[)\]]|[0-9] ?(?:in\b\.?|\")|(?<=\S),?"
            r" in\.?$|\"$"
        ),
    ),
)
_FOUND = [(unit, re.compile(pattern, re.IGNORECASE)) for unit, pattern in _PATTERNS]

_RADIAL = re.compile(
    r"\bradial(?:[- ]?(?:clear\w*|cl\b|clr|gap|spiel\w*)|(?!i|"
    r" ?-?(?:bearing|brg|lager|load|pump|fan)))|\brad\.|\bradiales?\b|\bradiaux\b"
    r"|\b(?:au|du|sur le) rayon\b|\bim radius\b|\bhalf (?:the )?clearance\b|\bhalbspiel\b",
    re.IGNORECASE,
)
_NO_RADIAL = re.compile(
    r"\bradiallager|\bpaliers? radia|\broulements? radia|\bradiales? lager", re.IGNORECASE
)
_DIAMETRAL = re.compile(
    r"\bdiametr(?:al|ic)\w*|\bdiametr[ae]les?\b|\bdiam[eé]tra(?:l|ux)\w*|\b(?:on|over|in) (?:the"
    r" )?diam(?:eter|\.)"
    r"|\bdiam(?:eter)?\.? (?:cl|clear\w*|gap)\b|\bdurchmesserspiel|\bim durchmesser\b|\b(?:au|sur le)"
    r" diam[eè]tre\b",
    re.IGNORECASE,
)


@lru_cache(maxsize=20_000)
def units_in(text: str) -> tuple[str, ...]:
    """The units of length that a text names, each once, in the house's spelling.

    Examples
    --------
    >>> units_in("Clearances in 1/100 mm"), units_in("Spiel in Hundertstel"), units_in(
    ...     "jeu en centièmes de mm"
    ... )
    (('1/100 mm',), ('1/100 mm',), ('1/100 mm',))
    >>> units_in("all dims 1/1000 in"), units_in("readings in thou"), units_in("set in May, um 8 Uhr")
    (('thou',), ('thou',), ())
    >>> units_in("DE (mm), limit 12 thou")
    ('thou', 'mm')
    """
    rest, found = text, []
    for unit, pattern in _FOUND:
        left = pattern.sub(" ", rest)
        if left != rest and unit and unit not in found:
            found.append(unit)
        rest = left
    return tuple(found)


def unit_named(word: str) -> str:
    """The house's spelling of one unit word, `1/100 mm` included; blank for what is none or more than one.

    Examples
    --------
    >>> unit_named("Hundertstel"), unit_named("mils"), unit_named("in."), unit_named("bar")
    ('1/100 mm', 'mil', 'in', '')
    """
    bare = word.strip()
    try:
        return canonical_unit(bare)
    except UnknownUnit:
        if bare.casefold().rstrip(".") == "in":
            return "in"
    found = units_in(bare)
    whole = next((p for unit, p in _FOUND if found == (unit,) and p.fullmatch(bare)), None)
    return found[0] if whole else ""


def same_unit(one: str, other: str) -> bool:
    """Whether two units are one length: a mil is a thou."""
    alike = {"mil": "thou"}
    return alike.get(one, one) == alike.get(other, other)


@lru_cache(maxsize=20_000)
def basis_in(text: str) -> str:
    """`radial` or `diametral` where a text says which of the two a clearance is; blank for neither and for
    both.

    Examples
    --------
    >>> basis_in("jeu au rayon"), basis_in("Radialspiel 1/100"), basis_in("diametral clearance"), basis_in(
    ...     "jeu au diamètre"
    ... )
    ('radial', 'radial', 'diametral', 'diametral')
    >>> basis_in("Radial bearing DE"), basis_in("Radiallager"), basis_in("journal diameter")
    ('', '', '')
    """
    radial = bool(_RADIAL.search(_NO_RADIAL.sub(" ", text)))
    diametral = bool(_DIAMETRAL.search(text))
    return "" if radial == diametral else "radial" if radial else "diametral"
