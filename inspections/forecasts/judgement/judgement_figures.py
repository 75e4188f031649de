"""One bearing's judgement as plain values: what the list, its page, the plan, the sheets and the pump all
read.

Lengths um (diametral, larger end), costs crew hours, chances 0 to 1; None where there is nothing to say.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

FORMAT = 4  # 3: triggers in whole um, expected re-openings; 4: since when its pump stands open
_READ = (3, 4)


class Word:
    """The only words of list and page; `ENGINEER` where nothing can be said and the engineer decides."""

    SET_LIMIT = "set_limit"
    LEAVE = "leave"
    OPEN = "open"
    DECIDE_NOW = "decide_now"
    ENGINEER = "engineer"


class Why:
    """What a word rests on, the first that holds."""

    NO_MAXIMUM = "no_maximum"  # neither a maximum, nor a replace limit, nor a lining to judge by
    NO_LIFE = "no_life"  # the maximum does not lie above the fitted clearance: a wrong bore or a wrong limit
    YOUNG = "young"  # the fleet has under three lives with two readings
    PAST = "past"  # likelier than not past its maximum today
    MISFIT = "misfit"  # the readings do not follow steady wear, or cannot be fitted
    EARLY = "early"  # opening before the next outage saves more than the stop costs
    CONTACT = "contact"  # a contact finding waits for work
    BESIDE = "beside"  # its pump is opened by rule for another bearing
    DUE = "due"  # the last outage before a chance above the accepted
    COST = "cost"  # least cost from then on


READING, ALWAYS, NEVER = "reading", "always", "never"
RULE, PLANT, GUARD = "rule", "plant", "guard"
TRIGGER_FROM = (RULE, PLANT, GUARD)
MAXIMUM, REPLACE, LINING = "maximum", "replace", "lining"


@dataclass(frozen=True)
class Column:
    """One outage at which the pump could be opened first, and what that means for this bearing.

    `known` False: no outage is recorded that far ahead, the site's usual interval stands for it. `past`:
    chance to have passed the maximum by then. `trigger_is`: "reading" (new shell at or above `trigger_um`),
    "always" (replacement expected whatever is read), "never", or "" where nothing can be said.
    `scrape_from_um`, never above the trigger: not scraped from here on (`scrape_is` as `trigger_is`);
    `no_room`: that lies under the fitted clearance. `new`, `scraped`: chances of a new shell, of a scrape.
    `hours`, `hours_var` of the bearing's own work. `cost_h`, `waiting_h` are the pump's: what opening it
    first here costs from now on, and what waiting for the next column costs more. `value_h` from the opening
    on; `looking_h` what deciding by the reading saves. Triggers are the least whole um that asks for it.
    `again`: how many further openings of the pump are expected at each column, if it is first opened here.
    """

    name: str
    outage: str
    start_on: dt.date
    end_on: dt.date
    known: bool
    past: float | None = None
    trigger_um: float | None = None
    trigger_is: str = ""
    trigger_from: str = ""
    scrape_from_um: float | None = None
    scrape_is: str = ""
    no_room: bool = False
    new: float | None = None
    scraped: float | None = None
    hours: float | None = None
    hours_var: float | None = None
    cost_h: float | None = None
    waiting_h: float | None = None
    value_h: float | None = None
    looking_h: float | None = None
    again: tuple[float, ...] = ()


@dataclass(frozen=True)
class Judgement:
    """What stands for one bearing on a day.

    `first`: the column at which its pump is opened, None where nothing can be decided by; `due`: the last
    column before which no bearing of the pump has a chance above its accepted one. `accepted_risk` with the
    consequence counted in. `stopping_h`: what opening the pump today saves against its next outage, before
    `stop_h`, the cost of the stop. `opened_today`: the same of this bearing where its pump is opened on the
    day itself, outside its outages. `again_h`, `again_new`: crew hours and new shells of each further
    opening, the pump's and this bearing's. `forecast_hash` names the forecast it rests on.
    `open_since`: its pump stands open since that day; `if_closed`: the word that stood if it did not.
    """

    as_of: dt.date
    word: str
    why: str
    columns: tuple[Column, ...] = ()
    opened_today: Column | None = None
    first: int | None = None
    due: int | None = None
    limit_um: float | None = None
    limit_from: str = ""
    new_um: float | None = None
    accepted_risk: float | None = None
    consequence: float = 1.0
    price_h: float | None = None
    past_now: float | None = None
    stopping_h: float | None = None
    stop_h: float | None = None
    open_h: float | None = None
    again_h: float | None = None
    again_new: float | None = None
    contact_open: bool = False
    forecast_hash: str = ""
    open_since: dt.date | None = None
    if_closed: str = ""

    @property
    def at(self) -> Column | None:
        """The outage at which the pump is opened; None where nothing can be decided by."""
        return None if self.first is None else self.columns[self.first]

    @property
    def replacement_expected(self) -> bool:
        """Whether more than 9 in 10 readings at the opening ask for a new shell."""
        return bool(self.at and (self.at.new or 0.0) > 0.9)

    @property
    def postponing_h(self) -> float | None:
        """What moving the pump one outage further costs, crew hours."""
        return self.at.waiting_h if self.at else None

    @property
    def stays_closed(self) -> bool:
        """Whether the bearing is left closed at its pump's next outage."""
        return self.word == Word.LEAVE

    def column_of(self, outage: Any) -> Column | None:
        """The column of an outage (its key); None where the pump cannot be opened in it."""
        return next((one for one in self.columns if one.outage == str(outage)), None)

    def opened_on(self, day: dt.date) -> tuple[Column | None, Column | None]:
        """What holds at the pump where it is opened on a day (that day or soon after `as_of`), and its next
        outage then.

        The outage that runs on the day, else the day itself.
        """
        running = next((n for n, one in enumerate(self.columns) if one.start_on <= day <= one.end_on), None)
        if running is None:
            return self.opened_today, next((one for one in self.columns if one.start_on > day), None)
        return self.columns[running], next(iter(self.columns[running + 1 :]), None)

    def with_pump_open(self, since: dt.date | None) -> "Judgement":
        """The same while its pump stands open since a day (None: is closed): what is opened is neither to be
        opened nor left closed, and nobody is asked to decide which.
        """
        word = self.if_closed or self.word
        if since is None or word in (Word.SET_LIMIT, Word.ENGINEER):
            return replace(self, word=word, if_closed="", open_since=since)
        return replace(self, word=Word.OPEN, if_closed=word, open_since=since)

    def to_json(self) -> dict[str, Any]:
        """Plain text and numbers; `from_json` brings back the same."""
        plain = {f.name: getattr(self, f.name) for f in fields(self)}
        plain |= {"format": FORMAT, "as_of": self.as_of.isoformat()}
        plain["open_since"] = self.open_since and self.open_since.isoformat()
        today = self.opened_today and _plain(self.opened_today)
        return plain | {"columns": [_plain(one) for one in self.columns], "opened_today": today}

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> "Judgement | None":
        """A stored judgement; None where it was stored in another form."""
        if kept.get("format") not in _READ:
            return None
        day, since = dt.date.fromisoformat, kept.get("open_since")
        own = {f.name: kept[f.name] for f in fields(cls) if f.name in kept}
        own |= {"as_of": day(kept["as_of"]), "open_since": since and day(since)}
        own["columns"] = tuple(_column(row) for row in kept["columns"])
        own["opened_today"] = kept["opened_today"] and _column(kept["opened_today"])
        return cls(**own)


def _plain(column: Column) -> dict[str, Any]:
    days = {"start_on": column.start_on.isoformat(), "end_on": column.end_on.isoformat()}
    return asdict(column) | days | {"again": list(column.again)}


def _column(row: Mapping[str, Any]) -> Column:
    day = dt.date.fromisoformat
    own = {"start_on": day(row["start_on"]), "end_on": day(row["end_on"]), "again": tuple(row["again"])}
    return Column(**{**row, **own})
