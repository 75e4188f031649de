"""The closing list of one bearing as the page asks it, and as the record keeps it."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fleet.formatting import day
from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER
from inspections.models import Closing, Disposition, Stage, Visit
from inspections.visits.word_at_pump import CLOSING_LIST, DONE, NOT_DONE, NOT_FITTED, STATES, ListAnswers


@dataclass(frozen=True)
class Item:
    """One line of the list: its words, what it is answered with, and the names of its fields."""

    key: str
    words: str
    state: str
    why: str
    mine: str

    @property
    def name(self) -> str:
        return f"list {self.key}{self.mine}"

    @property
    def why_name(self) -> str:
        return f"list why {self.key}{self.mine}"

    @property
    def ident(self) -> str:
        return self.name.replace(" ", "-")


@dataclass(frozen=True)
class ClosingList:
    """The list at one desk; `mine` is what its fields' names end with."""

    desk: Any
    mine: str

    states = tuple(STATES.items())

    @property
    def items(self) -> list[Item]:
        """Each line as it stands: as posted, else done; as left as the record has it."""
        post, found = self.desk.request.POST, []
        for key, words in CLOSING_LIST.items():
            usual = self._as_left() if key == "as_left" else DONE
            item = Item(key, words, usual, "", self.mine)
            found.append(Item(key, words, post.get(item.name, usual), post.get(item.why_name, ""), self.mine))
        return found

    def _as_left(self) -> str:
        if any(r.stage == Stage.AS_LEFT for r in self.desk.record.readings):
            return DONE
        return NOT_DONE if self.desk.rules.worked else NOT_FITTED

    def answered(self, post: Mapping[str, str]) -> tuple[dict[str, Any], list[str]]:
        """(what is stored, sentences of what is missing). What is not spoken of is done only where the list
        was signed.
        """
        items = [one for one in self.items if "listed" in post or one.name in post]
        answers = ListAnswers(
            {one.key: one.state for one in items}, {one.key: one.why.strip() for one in items}
        )
        kept = {
            one.key: {"state": one.state} | ({"why": one.why.strip()[:200]} if one.why.strip() else {})
            for one in items
        }
        faults = answers.faults()
        if answers.items.get("as_left") == DONE and self._as_left() != DONE:
            faults.append("As left is not in the record: measure it, or say why it was not.")
        return kept, faults


def lines_of(visit: Visit, bearing: Bearing) -> list[tuple[str, str]]:
    """What the receipt says of a bearing's closing and of its dispositions."""
    said = []
    for row in Disposition.objects.standing().filter(visit=visit, bearing=bearing).order_by(*IN_ORDER):
        until = f", until {day(row.expires_on)}" if row.expires_on else ""
        checks = (
            f" Interim checks by {row.check_by} every {row.check_every_days} days, stop at {row.stop_at}."
            if row.check_by
            else ""
        )
        said.append(
            ("Signed", f"Disposition: {row.get_answer_display()}{until}. Checked: {row.checked}.{checks}")
        )
    for closing in Closing.objects.standing().filter(visit=visit, bearing=bearing):
        if closing.without_disposition:
            said.append(("Against", f"Closed against the word, without a disposition: {closing.why_word}"))
        done = [CLOSING_LIST.get(key, key) for key, item in closing.items.items() if item["state"] == DONE]
        if done:
            said.append(("Done", f"{'; '.join(done)}."))
        for key, item in closing.items.items():
            if item["state"] != DONE or item.get("why"):
                why = f": {item['why']}" if item.get("why") else ""
                state = STATES.get(item["state"], item["state"])
                said.append(("List", f"{CLOSING_LIST.get(key, key).capitalize()}: {state}{why}"))
    return said
