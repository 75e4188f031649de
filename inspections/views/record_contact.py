"""The contact check at the pump: one tap on a drawn shell, its verdict, cells to mend, rounds of scraping."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from inspections import contact, printing, visits
from inspections.advising import scraping_words
from inspections.contact_facts import clearance_now, criteria_for, facts_for
from inspections.forms.record import ContactForm, new_id, read_cells, write_cells
from inspections.models import ContactCheck, EventKind, Stage
from inspections.shell_words import WHY_SCRAPED
from inspections.views.record_desk import Desk, at_the_pump
from inspections.visiting import NotRecorded


@dataclass(frozen=True)
class Cell:
    """One cell of the picture: its place, its mark, and its words for who does not see it."""

    row: int
    column: int
    mark: int
    label: str
    word: str


@at_the_pump
def check(desk: Desk) -> HttpResponse:
    """A new round: tap the shell that looks like the print; it is stored at once and can be mended."""
    rounds = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    half = desk.request.GET.get("half", "")
    form = ContactForm(
        desk.request.POST if desk.request.method == "POST" else None, initial=_as_before(desk, rounds, half)
    )
    if desk.request.method == "POST" and form.is_valid():
        drawn = desk.request.POST.get("drawn", "")
        cells = (
            contact.named(drawn).tolist() if drawn in contact.NAMES else contact.named("full_length").tolist()
        )
        if _store(desk, form, cells, drawn, None):
            return redirect(desk.address("record-print"))
    context = desk.context(
        form=form, rounds=rounds, number=visits.round_number(rounds, form["half"].value() or "lower"), device=desk.for_device("contact"), eight=printing.eight(), facts=_facts_words(form),
        cautions=scraping_words(desk.before, _now_um(desk), _n_rounds(rounds) + 1, criteria_at(desk).caution_after + 1),
    )  # fmt: skip
    return render(desk.request, "inspections/record_contact.html", context)


@at_the_pump
def shown_print(desk: Desk) -> HttpResponse:
    """The last print with its verdict; its cells mended one by one, as a picture or as a table."""
    rounds = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    if not rounds:
        return redirect(desk.address("record-check"))
    asked, post = desk.request.GET.get("check"), desk.request.POST
    last = next((one for one in rounds if str(one.pk) == asked), rounds[-1])
    latest = last.pk in {one.pk for one in visits.last_rounds(rounds)}
    form = ContactForm(post if desk.request.method == "POST" else None, initial=_as_stored(last))
    cells, half = last.pattern["cells"], last.half or "lower"
    changed = False
    if desk.request.method == "POST":
        cells, changed = _tapped(post, cells)
        if "keep" in post and form.is_valid():
            if cells == last.pattern["cells"] and not form.has_changed():
                return redirect(desk.address("record-print", check=last.pk))
            if _store(desk, form, cells, last.pattern.get("drawn", ""), last):
                mended = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
                stored = next((one for one in mended if one.supersedes == last.pk), mended[-1])
                return redirect(desk.address("record-print", check=stored.pk))
        elif "finer" in post:
            cells, changed = [[mark for mark in line for _ in (0, 1)] for line in cells for _ in (0, 1)], True
    as_table = desk.request.GET.get("as") == "table"
    context = desk.context(
        form=form, last=last, rounds=rounds, text=write_cells(cells), changed=changed, as_table=as_table,
        grid=_grid(cells, last), said=last.conditions, outcome=last.event.outcome, facts=_facts_words(form),
        cautions=scraping_words(desk.before, _now_um(desk), _n_rounds(rounds), criteria_at(desk).caution_after),
        picture=printing.drawing(cells, printing.in_words(cells)), ends=_ends(last.pattern.get("first_end", "out")),
        other_view=desk.address("record-print", check=last.pk, **({} if as_table else {"as": "table"})),
        other_half=_other_half(desk, rounds, half), latest=latest, arcs=_arcs(last), columns=len(cells[0]),
        finer=len(cells) * 2 <= FINEST, again=desk.address("record-check", **({"half": half} if half != "lower" else {})),
    )  # fmt: skip
    return render(desk.request, "inspections/record_print.html", context)


@at_the_pump
def scraped(desk: Desk) -> HttpResponse:
    """Metal was taken off: one tap, and the next round begins; with a reason where scraping is not offered."""
    if desk.request.method == "POST":
        note = desk.request.POST.get("note", "").strip()[:300]
        if not desk.scraping_offered and not note:
            messages.error(desk.request, WHY_SCRAPED)
            return redirect(desk.address("record-overview"))
        try:
            visits.event(
                visit=desk.visit, bearing=desk.bearing, kind=EventKind.SCRAPE, on=desk.on, by=desk.person,
                id=_id(desk.request.POST.get("id")), note=note,
            )  # type: ignore[arg-type] # fmt: skip
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
    rounds = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    return redirect(
        desk.address("record-check") if rounds else desk.address("record-reading", stage=Stage.AS_LEFT)
    )


def _id(text: str | None) -> Any:
    try:
        return UUID(str(text))
    except ValueError:
        return None


FINEST = 10  # rows of a grid that can be made finer once: 5 by 7 becomes 10 by 14


def _n_rounds(rounds: list[ContactCheck]) -> int:
    """How many rounds there were: the two halves of one round are one."""
    return max((one.round for one in rounds), default=0)


def _other_half(desk: Desk, rounds: list[ContactCheck], half: str) -> tuple[str, str]:
    """What the button to the other half's print says, and where it leads: its check of this round, or a new one."""
    other = "upper" if half == "lower" else "lower"
    there = [one for one in rounds if (one.half or "lower") == other and one.round == _n_rounds(rounds)]
    if there:
        return f"See the {other} half's print", desk.address("record-print", check=there[-1].pk)
    return f"Check the {other} half too", desk.address("record-check", half=other)


def _arcs(row: ContactCheck) -> str:
    """The print's arc and the worn arc, which are two things: "Print arc 64 degrees; worn arc 110 degrees, kept apart"."""
    print_arc, worn_arc = row.conditions.get("arc_deg"), row.worn.get("arc_deg")
    said = [f"Print arc {float(print_arc):.0f}°"] if print_arc else []
    said.append(f"worn arc {float(worn_arc):.0f}°" if worn_arc else "worn arc not noted")
    return "; ".join(said)


def _store(desk: Desk, form: ContactForm, cells: Any, drawn: str, instead_of: ContactCheck | None) -> bool:
    try:
        visits.check_contact(
            visit=desk.visit, bearing=desk.bearing, on=desk.on, cells=cells, drawn=drawn, by=desk.person,
            instead_of=instead_of, criteria=criteria_at(desk), id=form.cleaned_data["id"],
            match_mark=form.cleaned_data["match_mark"],
            facts=facts_for(form.facts(), desk.before, _now_um(desk)),
        )  # type: ignore[arg-type] # fmt: skip
    except NotRecorded as fault:
        messages.error(desk.request, str(fault))
        return False
    return True


def criteria_at(desk: Desk) -> contact.Criteria:
    """What this plant accepts as contact today."""
    return criteria_for(desk.bearing.place.site_id, desk.on)


def _now_um(desk: Desk) -> float | None:
    return clearance_now(desk.readings, desk.before)


def _as_before(desk: Desk, rounds: list[ContactCheck], half: str) -> dict[str, Any]:
    """A new check is taken as the last one of its half was, else as the other's; the first in place, with dye not said."""
    facts = desk.before.known.facts
    loaded = "upper" if facts and facts.load_side == "top" else "lower"
    half = half if half in ("upper", "lower") else (rounds[-1].half if rounds else loaded)
    same = [one for one in rounds if (one.half or "lower") == half]
    if same:
        return _as_stored(same[-1])
    if rounds:
        return _as_stored(rounds[-1]) | {"half": half, "worn_arc_deg": None, "match_mark": ""}
    return {"id": new_id(), "half": half, "in_place": "yes", "film": "", "bedded": "", "first_end": "out"}


def _as_stored(row: ContactCheck) -> dict[str, Any]:
    said = {None: "", True: "yes", False: "no"}
    return {
        "id": new_id(), "half": row.half, "in_place": said[row.in_place], "film": row.conditions.get("film", ""),
        "bedded": said[row.bedded_by_hand], "worn_arc_deg": row.worn.get("arc_deg"),
        "turned_deg": row.conditions.get("turned_deg"), "first_end": row.pattern.get("first_end", "out"),
        "first_side": row.conditions.get("first_side", ""), "match_mark": row.pattern.get("match_mark", ""),
    }  # fmt: skip


def _facts_words(form: ContactForm) -> str:
    """ "lower half, in place, dye thin and even": how it was taken, in one line."""
    words = []
    for name, prefix in (("half", ""), ("in_place", ""), ("film", "dye ")):
        value = form[name].value() or ""
        label = dict(form.fields[name].choices).get(value, "")  # type: ignore[attr-defined]
        if value:
            words.append(f"{prefix}{label}{' half' if name == 'half' else ''}".lower())
    return ", ".join(words)


def _ends(first_end: str) -> tuple[str, str]:
    return ("pump end", "outer end") if first_end == "in" else ("outer end", "pump end")


def _grid(cells: Any, row: ContactCheck) -> list[list[Cell]]:
    words = printing.row_words(len(cells), row.half)
    left, right = _ends(row.pattern.get("first_end", "out"))
    last = len(cells[0]) - 1
    return [
        [
            Cell(
                i, k, mark,
                f"row {i + 1}, {words[i]}; column {k + 1}{', ' + left if k == 0 else ', ' + right if k == last else ''}: "
                f"{printing.MARK_WORDS[mark]}",
                printing.MARK_WORDS[mark],
            )
            for k, mark in enumerate(line)
        ]
        for i, line in enumerate(cells)
    ]  # fmt: skip


def _tapped(post: Any, stored: Any) -> tuple[list[list[int]], bool]:
    """The cells as the page holds them, the tapped one turned on: none, light, heavy, none again."""
    cells = read_cells(post.get("cells", "")) if post.get("cells") else [list(line) for line in stored]
    for i, line in enumerate(cells):
        for k in range(len(line)):
            chosen = post.get(f"cell-{i}-{k}")
            if chosen in ("0", "1", "2"):
                line[k] = int(chosen)
    tapped = post.get("cell", "")
    if "," in tapped:
        i, k = (int(part) for part in tapped.split(",", 1))
        if 0 <= i < len(cells) and 0 <= k < len(cells[i]):
            cells[i][k] = (cells[i][k] + 1) % 3
    return cells, cells != stored
