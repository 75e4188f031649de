"""The word at the open pump: one ordered table of what stands above the rule, then the rule. Numbers and
words; no Django.

The order is that of people of the trade (common practice, no published source): damage on the plant's hold
list; what the print says; under the minimum; at or over the maximum, which chance alone never closes up; a
reading that does not fit and was not measured again; nothing measured as left after work; then the trigger
(an argument, see `Trigger`); else close up, after the closing list.

Lengths are um, diametral. A row that an engineer's disposition answers stands back; what was recorded after
it does not.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

CLOSE_UP, SCRAPE, REPLACE = "close up", "scrape", "replace"
MEASURE, REPEAT, ENGINEER, HOLD = "measure again", "repeat the print", "ask the engineer", "hold"
WORDS = (CLOSE_UP, SCRAPE, REPLACE, MEASURE, REPEAT, ENGINEER, HOLD)

USE_AS_IS, REPAIR, NEW_SHELL = "use_as_is", "repair", "replace"
BELOW, ABOVE = "under", "over"

# What each outcome of a print asks for; `acceptable` asks for nothing and `scrape` is weighed with the
# trigger.
OF_PRINT = {"repeat": REPEAT, "void": REPEAT, "measure": MEASURE, "alignment": ENGINEER, "seat": ENGINEER}
BY_RULE = "rule "  # how the key of what the trigger says begins
ASKS_SCRAPING, CARRIES = "scrape", "acceptable"


@dataclass(frozen=True)
class Print:
    """The last print of one half. `outcome` as the reader has it, `void` where it says nothing here.

    `scraped_since`: metal came off after it, so it no longer shows what lies there. `key` names the print.
    `engineer`: it found something on a shell that must not be scraped, or of which that is not known.
    """

    key: str
    half: str
    outcome: str
    said: str
    scraped_since: bool = False
    spherical: bool = False
    engineer: bool = False


@dataclass(frozen=True)
class Held:
    """One station's reading that is not surely inside: `side` is `under` or `over`; `fitting`: of the range
    for new metal.

    `again`: it was measured again, by another hand or method where there is one. `key` names station and
    value.
    """

    key: str
    side: str
    where: str
    said: str
    again: bool
    fitting: bool = False


@dataclass(frozen=True)
class Answer:
    """An engineer's disposition: what was answered (`keys` of rows), how, and whether work was recorded after
    it.
    """

    answer: str
    keys: frozenset[str]
    worked_since: bool = False


@dataclass(frozen=True)
class Situation:
    """Everything that is known of one open bearing when its word is asked.

    damage : key -> part and word of each finding on the plant's hold list that no new metal has taken away.
    seen : findings on neither list, and free remarks; they decide nothing and are said.
    scrapeable : True, False, None where nobody has said so.
    worked : a work of this visit parts as found from as left; `unmeasured`: as left stations without a
    reading;
    `excused`: those of them that were said not to be measured.
    rivals : key -> where of each station of which two readings count.
    doubted : key -> where of each unlikely reading that was not measured again. measured : whether there is
    any reading.
    wrong_limit : why the maximum they are held against cannot be right; empty where nothing is known of that.
    """

    damage: Mapping[str, str] = field(default_factory=dict)
    seen: Sequence[str] = ()
    prints: Sequence[Print] = ()
    scrapeable: bool | None = None
    held: Sequence[Held] = ()
    rivals: Mapping[str, str] = field(default_factory=dict)
    doubted: Mapping[str, str] = field(default_factory=dict)
    worked: bool = False
    unmeasured: Sequence[str] = ()
    excused: Sequence[str] = ()
    measured: bool = True
    wrong_limit: str = ""
    answers: Sequence[Answer] = ()

    @property
    def asks_scraping(self) -> bool:
        """Whether a print of this visit asks for scraping, and nothing was scraped since."""
        return any(one.outcome == ASKS_SCRAPING and not one.scraped_since for one in self.prints)


@dataclass(frozen=True)
class Ruling:
    """What the rule itself says where nothing stands above it: a word, why, and the chance behind it (None:
    none).
    """

    word: str
    why: str
    chance: float | None = None


# The rule below the table. Its argument: whether a print asks for scraping, so that the step is counted in.
Trigger = Callable[[bool], Ruling]


@dataclass(frozen=True)
class Standing:
    """One row of the table that holds: what it is of, its word, and why; `key` is what a
    disposition answers.
    """

    key: str
    word: str
    why: str


@dataclass(frozen=True)
class Advice:
    """The word, why, the chance behind it, and every row that holds, the first in order first."""

    word: str
    why: str
    chance: float | None = None
    standing: tuple[Standing, ...] = ()

    @property
    def keys(self) -> list[str]:
        """What a disposition given now would answer."""
        return [one.key for one in self.standing]

    @property
    def also(self) -> list[Standing]:
        """The rows below the one that gave the word."""
        return [one for one in self.standing if one.why != self.why]


def advise(now: Situation, trigger: Trigger) -> Advice:
    """The word at the pump: the first row of the table that holds and is not answered, else what the rule
    says.

    Parameters
    ----------
    now : Situation
    trigger : callable
        the rule, asked only where nothing above it stands; given whether a scrape is owed.

    Returns
    -------
    Advice
        `chance` only where the rule gave the word.

    >>> advise(Situation(damage={"1": "lower half: wiped"}), lambda owed: Ruling(CLOSE_UP, "")).word
    'hold'
    """
    standing = standing_rows(now)
    first = standing[0] if standing else None
    if first and first.word != SCRAPE:
        return Advice(first.word, first.why, None, standing)
    ruling = trigger(first is not None)
    if ruling.word != CLOSE_UP:
        row = Standing(f"{BY_RULE}{ruling.why}", ruling.word, ruling.why)
        if ruled := list(_unanswered([row], now.answers)):
            return Advice(ruled[0].word, ruled[0].why, ruling.chance, (*ruled, *standing))
    if first:
        return Advice(SCRAPE, f"{first.why} {ruling.why}".strip(), ruling.chance, standing)
    signed = "By the engineer's disposition." if now.answers else ""
    return Advice(
        CLOSE_UP, " ".join(part for part in (signed, ruling.why, *_nothing(now)) if part), ruling.chance
    )


def standing_rows(now: Situation) -> tuple[Standing, ...]:
    """Every row of the table that holds and is not answered, the one that gives the word first.

    A print that asks for the clearance is behind a clearance that was measured again and holds: where the
    print cannot tell, the measurement decides.

    >>> tight = Held("under", BELOW, "as found, pump end", "Too tight.", again=True)
    >>> wide = Print("a", "lower", "measure", "Measure before doing more.")
    >>> [row.word for row in standing_rows(Situation(prints=[wide], held=[tight]))]
    ['hold', 'measure again']
    """
    rows = list(_unanswered([row for part in TABLE for row in part(now)], now.answers))
    measured = {one.key for one in now.held if one.side == BELOW and one.again}
    if any(row.key in measured and row.word == HOLD for row in rows):
        rows.sort(key=lambda row: row.word == MEASURE and row.key.startswith("print "))
    return tuple(rows)


def before_closing(now: Situation) -> tuple[Standing, ...]:
    """The rows that are said at the pump as soon as they hold. Scraping, the clearance as left and two
    readings of one station are asked for there in their own words.
    """
    asked = ("rivals ", "as left ")
    return tuple(row for row in standing_rows(now) if row.word != SCRAPE and not row.key.startswith(asked))


def may_scrape(now: Situation, trigger: Trigger) -> bool:
    """Whether "Scraped" is one of the steps; where it is not, the fact can be recorded with its reason.

    After a print only where the word is to scrape; before any print unless damage or a reading speaks against
    it.

    >>> may_scrape(
    ...     Situation(scrapeable=True, damage={"1": "lower half: wiped"}), lambda owed: Ruling(CLOSE_UP, "")
    ... )
    False
    """
    if now.scrapeable is not True:
        return False
    if now.prints:
        return advise(now, trigger).word == SCRAPE
    against = [row for part in (_damage, _under, _over) for row in part(now)]
    return not any(_unanswered(against, now.answers))


# The table ------------------------------------------------------------------------------------------------


def _damage(now: Situation) -> Iterator[Standing]:
    for key, words in now.damage.items():
        yield Standing(
            f"damage {key}",
            HOLD,
            f"{_first_up(words)} was seen: do not close before the engineer has signed.",
        )


def _prints(now: Situation) -> Iterator[Standing]:
    carried = any(one.outcome == CARRIES for one in now.prints)
    for one in now.prints:
        if one.scraped_since:
            yield Standing(
                f"print {one.key}",
                REPEAT,
                f"The {one.half} half was scraped after its last print: check it again.",
            )
        elif one.outcome == "void":
            if one.spherical:
                why = (
                    "The seat is spherical: a check in place says nothing of it, and the engineer says how it"
                    " is judged."
                )
                yield Standing(f"print {one.key}", ENGINEER, why)
            elif not carried:
                yield Standing(f"print {one.key}", REPEAT, f"{one.said} Check the half that carries.")
        elif word := OF_PRINT.get(one.outcome):
            word = ENGINEER if one.engineer else word
            yield Standing(f"print {one.key}", word, f"The last print of the {one.half} half: {one.said}")
        elif one.outcome == ASKS_SCRAPING and now.scrapeable is not True:
            no = (
                "must not be scraped"
                if now.scrapeable is False
                else "is not known to be one that may be scraped"
            )
            yield Standing(f"print {one.key}", ENGINEER, f"The print asks for scraping, and this shell {no}.")


def _under(now: Situation) -> Iterator[Standing]:
    for one in now.held:
        if one.side == BELOW or one.fitting:
            yield _of_reading(
                one, HOLD, "measured again, and still so: do not close before the engineer has signed."
            )


def _over(now: Situation) -> Iterator[Standing]:
    for one in now.held:
        if one.side == ABOVE and not one.fitting:
            if now.wrong_limit and one.again:
                found = f"{_first_up(one.where)}: {one.said} It was measured again, and still so."
                by_it = "No shell is condemned by it before the engineer has said which."
                # the rule below says the same of the bearing: one disposition answers both
                yield Standing(f"{BY_RULE}{now.wrong_limit}", ENGINEER, f"{found} {now.wrong_limit} {by_it}")
                continue
            more = (
                "measured again, and still so: a new shell, or hold with the engineer's signed concession,"
                " interim checks and expiry."
            )
            yield _of_reading(one, REPLACE, more)


def _of_reading(one: Held, then: str, more: str) -> Standing:
    if one.again:
        return Standing(one.key, then, f"{_first_up(one.where)}: {one.said} It was {more}")
    return Standing(
        one.key, MEASURE, f"{_first_up(one.where)}: {one.said} Measure it again, by another hand or method."
    )


def _rivals(now: Situation) -> Iterator[Standing]:
    for key, where in now.rivals.items():
        why = "two readings of one station stand side by side. Say on the pump's page which of them counts."
        yield Standing(f"rivals {key}", MEASURE, f"{_first_up(where)}: {why}")


def _doubted(now: Situation) -> Iterator[Standing]:
    told = {one.where for one in now.held}  # its row asks for the same already
    for key, where in now.doubted.items():
        if where in told:
            continue
        why = "the reading is not what was expected, and it was not measured again."
        yield Standing(f"doubted {key}", MEASURE, f"{_first_up(where)}: {why}")


def _as_left(now: Situation) -> Iterator[Standing]:
    # What a scrape is owed on is measured after it.
    if not now.worked or (now.asks_scraping and now.scrapeable):
        return
    for where in now.unmeasured:
        yield Standing(f"as left {where}", MEASURE, f"Not measured as left after the work: {where}.")
    for where in now.excused:
        yield Standing(
            f"as left {where}", ENGINEER, f"Not measured as left after the work, and said so: {where}."
        )


def _scraping(now: Situation) -> Iterator[Standing]:
    for one in now.prints:
        if one.outcome == ASKS_SCRAPING and not one.scraped_since and now.scrapeable:
            yield Standing(
                f"print {one.key}", SCRAPE, f"The last print of the {one.half} half asks for scraping."
            )


TABLE: tuple[Callable[[Situation], Iterator[Standing]], ...] = (
    _damage,
    _prints,
    _under,
    _over,
    _rivals,
    _doubted,
    _as_left,
    _scraping,
)


# Dispositions ---------------------------------------------------------------------------------------------


def _answered(key: str, answers: Sequence[Answer]) -> Answer | None:
    return next((one for one in reversed(answers) if key in one.keys), None)


def _unanswered(rows: Sequence[Standing], answers: Sequence[Answer]) -> Iterator[Standing]:
    for row in rows:
        answered = _answered(row.key, answers)
        if answered is None:
            yield row
        elif answered.answer == NEW_SHELL:
            yield Standing(row.key, REPLACE, f"The engineer's disposition is to replace. {row.why}")
        elif answered.answer == REPAIR and not answered.worked_since:
            yield Standing(
                row.key,
                HOLD,
                f"The engineer's disposition is to repair, and no work is recorded since. {row.why}",
            )


def _nothing(now: Situation) -> Iterator[str]:
    """What is said at the end of "close up": what was not found, and never more than was looked at."""
    if not now.measured:
        yield "Nothing was measured in this visit."
    if now.seen:
        yield f"Seen, and on neither list of this plant: {'; '.join(now.seen)}."
    elif now.measured:
        yield "Nothing was found that asks for more."


def _first_up(words: str) -> str:
    return words[:1].upper() + words[1:]


# The plant's lists of damage words --------------------------------------------------------------------------

HOLD_WORDS = ("wiped", "cracked", "loose bond", "backs: fretted", "arc pits", "electrically pitted")
NOTE_WORDS = ("lightly scored", "scored", "polished")
# Under which the plant's own lists and whom to ring are kept among its choices.
HOLD_SETTING, NOTE_SETTING, RING_SETTING = "hold_words", "note_words", "whom_to_ring"


def listed(found: Mapping[str, Collection[str]], words: Collection[str]) -> list[str]:
    """ "part: word" of what was found that stands on a list; an entry is a word, or `part: word` for one part
    alone.

    >>> listed({"lower half": ["wiped", "scored"], "backs": ["fretted"]}, HOLD_WORDS)
    ['lower half: wiped', 'backs: fretted']
    """
    return [
        f"{part}: {word}"
        for part, ticked in found.items()
        for word in ticked
        if word in words or f"{part}: {word}" in words
    ]


# The closing list -----------------------------------------------------------------------------------------

CLOSING_LIST: dict[str, str] = {
    "as_left": "as left at both ends, inside the range",
    "oil_hole": "oil hole and dowel in their places",
    "cap_torque": "cap at its torque",
    "ring_free": "oil ring free",
    "end_float": "end float",
    "shaft_turns": "shaft turns by hand",
}
DONE, NOT_DONE, NOT_FITTED = "done", "not_done", "not_fitted"
STATES = {DONE: "done", NOT_DONE: "not done or not measured", NOT_FITTED: "does not apply here"}


@dataclass(frozen=True)
class ListAnswers:
    """The closing list as answered: by item its state, and why where it was not done."""

    items: Mapping[str, str] = field(default_factory=dict)
    why: Mapping[str, str] = field(default_factory=dict)

    def faults(self) -> list[str]:
        """Sentences of what is not answered yet; empty where the list is whole."""
        said = [
            f"Say of the closing list: {words}."
            for key, words in CLOSING_LIST.items()
            if self.items.get(key) not in STATES
        ]
        bare = [
            key
            for key, state in self.items.items()
            if state == NOT_DONE and not self.why.get(key, "").strip()
        ]
        return said + [f"Say why it was not done or not measured: {CLOSING_LIST[key]}." for key in bare]
