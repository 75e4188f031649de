"""What is said of a shell before its contact is checked: whether it may be scraped, and a seat that voids a
check. Pure.

`scrapeable` is True, False, or None where nobody has said so; `seat` is the register's word.
"""

from typing import Any

MUST_NOT = (
    "This shell must not be scraped. If the print does not carry, ask the engineer: neither scrape nor"
    " replace for it alone."
)
NOT_KNOWN = (
    "It is not known whether this shell may be scraped: the register does not say. Ask the engineer before"
    " any scraping."
)
SPHERICAL = (
    "The seat is spherical: the shell turns to the shaft, so a check in place says nothing of how it carries "
    "(common practice, no published source). The engineer says how it is judged."
)
WHY_SCRAPED = "Scraping is not advised here. Say in a few words why it was scraped all the same."


def before_check(scrapeable: bool | None, seat: str) -> list[str]:
    """The sentences that stand before a contact check; none where nothing speaks against checking and
    scraping.

    >>> before_check(True, "cylindrical")
    []
    """
    of_metal = {True: [], False: [MUST_NOT], None: [NOT_KNOWN]}[scrapeable]
    return [*of_metal, SPHERICAL] if seat == "spherical" else of_metal


def shell_allows(scrapeable: bool | None, seat: str) -> bool:
    """Whether the shell itself may be scraped, whatever its prints say; else the fact can be recorded with a
    reason.
    """
    return scrapeable is True and seat != "spherical"


def of_facts(facts: Any) -> tuple[bool | None, str]:
    """(scrapeable, seat) of a position's facts; not known, and no seat, where there are none."""
    return (facts.scrapeable, facts.seat) if facts else (None, "")


def for_device(facts: Any) -> dict[str, Any]:
    """What a device takes along of it."""
    return {"shell_words": before_check(*of_facts(facts)), "may_scrape": shell_allows(*of_facts(facts))}
