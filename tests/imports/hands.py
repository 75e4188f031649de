"""A person bringing a sheet through its pages, with clicks and answers counted: in forms as they stand on the
page.

`Hand` walks; a subclass says how a field is set: `FormHand` in the page's HTML without a browser, that of
tests/browser in Chromium.
"""

from collections.abc import Sequence
from typing import Any, Protocol

from webtest import TestApp

from fleet.importing.questions import TOGETHER
from tests.imports import bringing

MOST_CLICKS, MOST_ANSWERS, MOST_WAVES = 25, 12, 2


class Section(Protocol):
    """One question on the page."""

    about: str
    code: str

    def rows(self) -> Sequence[str]: ...
    def untick(self, n: int) -> bool: ...
    def choose(self, word: str) -> None: ...
    def say(self, word: str, value: str) -> bool: ...


class Hand:
    """The walk from the page Sheets to the stored history, and what it cost."""

    def __init__(self, name: str) -> None:
        self.name, self.n, self.n_answers, self.n_waves, self.n_fields = name, 0, 0, 0, 0

    # How a page is worked: for subclasses.
    def upload(self, truth: dict[str, Any]) -> None:
        raise NotImplementedError

    def set(self, name: str, value: str) -> bool:
        """Give a field of the plan's page this value; False where it had it."""
        raise NotImplementedError

    def leave(self, tabs: Sequence[str]) -> int:
        """Read every tab but these, and look at the columns anew; how many clicks it took."""
        raise NotImplementedError

    def press(self, then: str) -> None:
        """Press the button of this name and look at the page it leads to."""
        raise NotImplementedError

    def sections(self) -> Sequence[Section]:
        raise NotImplementedError

    def open_offer(self, text: str) -> None:
        """From the page after storing to the form of a limit that the sheet names."""
        raise NotImplementedError

    def set_limit(self) -> None:
        """Press the form's button, and look at the page it leads to."""
        raise NotImplementedError

    def look(self, screen: str) -> None:
        """A chance to look at a screen."""

    # The walk.
    def bring(self, truth: dict[str, Any]) -> None:
        """All of it: three clicks to bring the sheet, then the plan, the questions, the last page."""
        self.n += 3
        self.upload(truth)
        if tabs := truth.get("leave"):
            self.n += self.leave(tabs)
        for name, value in truth["plan"].items():
            self.n += self.set(name, value)
        self.look("plan")
        self._press("go")
        self._answer(truth)
        self.look("ready")
        self._press("look")
        self.look("last")
        self._press("store")
        self.look("done")
        for offer, said in truth.get("take", []):
            self._take_limit(offer, said)

    def _take_limit(self, offer: str, said: dict[str, str]) -> None:
        """A limit that the sheet names, set where it is offered: three clicks and its fields."""
        self.n += 3
        self.open_offer(offer)
        for name, value in said.items():
            self.n += self.set(name, value)
        self.look("limit")
        self.set_limit()

    def _press(self, then: str) -> None:
        self.n += 1
        self.press(then)

    def _answer(self, truth: dict[str, Any]) -> None:
        """Round by round: the truth's answers to the questions that are there, until nothing is asked."""
        words = {}
        for code, about, choice, value, *place in truth["answers"]:
            words["" if code in TOGETHER else about, code] = (choice, value, place[0] if place else "")
        for _ in range(5):
            sections = self.sections()
            if not sections:
                return
            self.n_waves += 1
            self.look("questions")
            for section in sections:
                if choice := words.get((section.about, section.code)):
                    self._settle(section, *choice)
            self._press("answer")

    def _settle(self, section: Section, word: str, value: str, only: str) -> None:
        self.n_answers += 1
        if only:
            self.n += sum(section.untick(n) for n, row in enumerate(section.rows()) if only not in row)
        self.n += 1
        section.choose(word)
        if value:
            self.n += (said := section.say(word, value))
            self.n_fields += said


class _FormSection:
    def __init__(self, form: Any, tag: Any) -> None:
        self.form, self.tag = form, tag
        self.about, self.code = tag["data-about"], tag["data-code"]

    def rows(self) -> list[str]:
        return [" ".join(row.get_text(" ").split()) for row in self.tag.select("tbody tr")]

    def untick(self, n: int) -> bool:
        box = self.tag.select("tbody tr")[n].select_one("input[type=checkbox]")
        if box is None:
            return False
        for field in self.form.fields[box["name"]]:
            if field._value == box["value"]:
                field.checked = False
        return True

    def choose(self, word: str) -> None:
        name = self.tag.select_one(f"input[type=radio][value={word}]")["name"]
        self.form[name] = word

    def say(self, word: str, value: str) -> bool:
        tag = self.tag.select_one(f"[name$='-{word}'][name^=value-]")
        if tag is None or self.form[tag["name"]].value == value:
            return False
        self.form[tag["name"]] = value
        return True


class FormHand(Hand):
    """In the page's own HTML: a field that does not stand on it cannot be set, nor a choice it does not
    offer.
    """

    def __init__(self, name: str, app: TestApp) -> None:
        super().__init__(name)
        self.app = app

    def upload(self, truth: dict[str, Any]) -> None:
        form = next(f for f in self.app.get("/import/").forms.values() if "file" in f.fields)
        form["kind"] = "history"
        form["file"] = (truth["sheet"], bringing.bytes_of(truth), "application/octet-stream")
        self.page = form.submit().maybe_follow()
        self.form = self._form("go")

    def set(self, name: str, value: str) -> bool:
        if self.form[name].value == value:
            return False
        self.form[name] = value
        return True

    def leave(self, tabs: Sequence[str]) -> int:
        changed = [box for box in self.form.fields["tab"] if box.checked == (box._value in tabs)]
        for box in changed:
            box.checked = not box.checked
        if not changed:
            return 0
        self.page = self.form.submit("then", value="show").maybe_follow()
        self.form = self._form("go")
        return len(changed) + 2  # the fold of the tabs is opened, and the page is shown anew

    def press(self, then: str) -> None:
        form = self.form if then in ("go", "answer") else self._form(then)
        self.page = form.submit("then", value=then).maybe_follow()
        if then in ("go", "answer"):
            self.form = None

    def sections(self) -> list[_FormSection]:
        tags = self.page.html.select("section.question")
        if not tags:
            return []
        self.form = self._form("answer")
        return [_FormSection(self.form, tag) for tag in tags]

    def open_offer(self, text: str) -> None:
        limits = self.page.click("^Set limits for")
        (row,) = [tag for tag in limits.html.select("tr") if text in tag.get_text() and tag.select("a")]
        self.page = limits.goto(row.select_one("a")["href"])
        self.form = next(form for form in self.page.forms.values() if "authority" in form.fields)

    def set_limit(self) -> None:
        self.page = self.form.submit().follow()

    def _form(self, then: str) -> Any:
        """The form that a button of the page belongs to."""
        (form,) = {
            id(form): form
            for form in self.page.forms.values()
            if any(field._value == then for field in form.fields.get("then", []) if field.tag == "button")
        }.values()
        return form
