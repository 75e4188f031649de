"""The contact check at the pump: one tap on a drawn shell, its verdict, cells to mend, rounds of scraping."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render

from fleet.end_words import END_WORDS, ENDS
from inspections import contact
from inspections.models import ContactCheck, EventKind, Stage, TappedCells
from inspections.records.openings import NotRecorded
from inspections.visits import print_drawing, print_words, tapped_cells
from inspections.visits.acts import event
from inspections.visits.contact_checks import check_contact
from inspections.visits.contact_facts import check_facts, clearance_now, criteria_for, earlier_prints
from inspections.visits.contact_rounds import last_rounds, round_number, rounds_of
from inspections.visits.desk import Desk, at_the_pump
from inspections.visits.forms import ContactForm, new_id, read_cells, write_cells
from inspections.visits.metal_removed import scraping_words
from inspections.visits.open_bearing import scraping_of
from inspections.visits.screen_context import device_facts, screen_context
from inspections.visits.shell_words import WHY_SCRAPED
from inspections.visits.word_at_pump import ASKS_SCRAPING, CARRIES


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
    keep_tapped(desk)
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
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
            return redirect(desk.screens.address("record-print"))
    number = round_number(rounds, desk.record.happened)
    context = screen_context(
        desk,
        form=form,
        rounds=rounds,
        number=number,
        device=device_facts(desk, "contact"),
        eight=print_drawing.eight(),
        films=print_drawing.films(),
        facts=_facts_words(form),
        cautions=_before_scraping(desk, number, criteria_at(desk).caution_after + 1),
    )
    return render(desk.request, "inspections/record_contact.html", context)


@at_the_pump
def shown_print(desk: Desk) -> HttpResponse:
    """A print with the verdict of its cells; they are mended one by one, as a picture or as a table, and
    every tap is kept.
    """
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    post = desk.request.POST
    named = tapped_cells.standing_check(_id(post.get("check") or desk.request.GET.get("check")))
    last = next((one for one in rounds if named and one.pk == named.pk), rounds[-1] if rounds else None)
    if last is None:
        return redirect(desk.screens.address("record-check"))
    if desk.request.method != "POST":
        waiting = tapped_cells.waiting_cells(last.pk, desk.person)
        cells = read_cells(waiting.cells) if waiting else last.pattern["cells"]
        fields = waiting.fields if waiting else None
        return _print_page(desk, rounds, last, cells, fields, tapped_cells.tap_count(last.pk, desk.person))
    shown = (_id(post.get("check")) if named and named.pk == last.pk else None) or last.pk
    cells = _tapped(post, last.pattern["cells"])
    try:
        draft = tapped_cells.tap(
            check=shown,
            by=desk.person,
            visit=desk.visit.pk,  # type: ignore[union-attr]
            bearing=desk.bearing.pk,
            cells=cells,
            fields=post.dict(),
            taps=_count(post, tapped_cells.tap_count(shown, desk.person)),
        )
    except NotRecorded as fault:
        if "draft" in post:
            return JsonResponse({"fault": str(fault)}, status=400)
        messages.error(desk.request, str(fault))
        return redirect(desk.screens.address("record-print", check=last.pk))
    if "draft" in post:
        said = _reading(desk, last, cells, post)
        return JsonResponse(said | _scraping_said(desk, last, said["headline"], said["outcome"]))
    if ("keep" in post or "leave" in post) and ContactForm(post).is_valid():
        stored = keep_tapped(desk, [draft])
        if stored is not None:
            return redirect(_left(desk, post, stored))
    return _print_page(desk, rounds, last, cells, post, draft.taps)


def _scraping_said(desk: Desk, last: ContactCheck, headline: str, outcome: str) -> dict[str, Any]:
    """A print's headline as the page says it, and whether scraping is one of the steps after it."""
    scraping = scraping_of(desk.rules, last.pk, outcome)
    before = scraping.before if outcome in (ASKS_SCRAPING, CARRIES) else ""
    return {"headline": f"{before}{headline}", "may_scrape": scraping.offered}


def _count(post: Any, known: int) -> int:
    """How often the page was tapped by now; without a script every post is a tap of its own."""
    typed = post.get("taps", "")
    count = int(typed) if typed.isdecimal() and len(typed) < 9 else known
    return count + 1 if "cell" in post else count


def _left(desk: Desk, post: Any, stored: ContactCheck) -> str:
    """Where a round leads that was left with its cells kept; metal taken off is recorded on the way."""
    leave, half = post.get("leave", ""), stored.half or "lower"
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    if leave == "scraped" and not scraping_of(desk.rules).offered:
        messages.error(desk.request, WHY_SCRAPED)
        return desk.screens.address("record-overview")
    if leave == "scraped":
        _scrape(desk, post.get("scrape_id"))
        return desk.screens.address("record-check")
    if leave == "other":
        return _other_half(desk, rounds, half)[1]
    if leave == "again":
        return desk.screens.address("record-check", **({"half": half} if half != "lower" else {}))
    if leave == "visit":
        return desk.screens.address("record-overview")
    return desk.screens.address("record-print", check=stored.pk)


def _reading(desk: Desk, last: ContactCheck, cells: Any, fields: Any) -> dict[str, Any]:
    """What these cells say, kept or not; facts that cannot be read are those of the stored print."""
    form = ContactForm(fields)
    if not form.is_valid():
        form = ContactForm({k: v for k, v in tapped_cells.taken_as(last).items() if v is not None})
    facts = form.facts() if form.is_valid() else {"half": last.half or "lower"}
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    check = check_facts(facts, desk.record.before, desk.visit, desk.bearing)
    earlier = earlier_prints(rounds, check.half or "lower", last)
    said = tapped_cells.reading_of(cells, check, criteria_at(desk), earlier)
    return said | {"lines": print_words.lines(said)}


def _print_page(
    desk: Desk, rounds: list[ContactCheck], last: ContactCheck, cells: Any, fields: Any, taps: int
) -> HttpResponse:
    """The print as it stands on the page: its cells, and the verdict of these cells."""
    initial = tapped_cells.taken_as(last)
    form = ContactForm(fields if fields else None, initial=initial)
    changed = bool(fields) and tapped_cells.differs(last, cells, form)
    said: Any = (
        _reading(desk, last, cells, fields)
        if changed
        else last.conditions | {"lines": print_words.lines(last.conditions)}
    )
    outcome = said["outcome"] if changed else last.event.outcome
    latest = last.pk in {one.pk for one in last_rounds(rounds)}
    as_table = desk.request.GET.get("as") == "table"
    context = screen_context(
        desk,
        form=form,
        last=last,
        rounds=rounds,
        text=write_cells(cells),
        changed=changed,
        as_table=as_table,
        taps=taps,
        grid=_grid(cells, last),
        said=said,
        outcome=outcome,
        scraping=_scraping_said(desk, last, said["headline"], outcome),
        facts=_facts_words(form),
        scrape_id=new_id(),
        cautions=_before_scraping(desk, _n_rounds(rounds), criteria_at(desk).caution_after),
        picture=print_drawing.drawing(cells, print_drawing.in_words(cells)),
        ends=_ends(last.pattern.get("first_end", "out")),
        other_view=desk.screens.address(
            "record-print", check=last.pk, **({} if as_table else {"as": "table"})
        ),
        other_half=_other_half(desk, rounds, last.half or "lower")[0],
        latest=latest,
        arcs=_arcs(last),
        columns=len(cells[0]),
        finer=len(cells) * 2 <= FINEST,
        device=device_facts(desk, "contact"),
    )
    return render(desk.request, "inspections/record_print.html", context)


def _before_scraping(desk: Desk, n_rounds: int, caution_after: int) -> list[str]:
    unit = desk.rules.setup_for("clearance").unit
    step = desk.record.before.step
    return scraping_words(desk.record.opening, step, _now_um(desk), unit, n_rounds, caution_after)


def keep_tapped(desk: Desk, drafts: list[TappedCells] | None = None) -> ContactCheck | None:
    """Make what was tapped on prints of this bearing its entries; without drafts named, those that this
    person left behind.

    A screen that the person goes on to calls it: a round that was left by any way is kept.
    """
    if drafts is None:
        assert desk.visit is not None
        drafts = list(
            TappedCells.objects.waiting(desk.visit.pk).filter(bearing=desk.bearing.pk, by=desk.person)
        )
    stored = None
    for draft in drafts:
        try:
            stored = tapped_cells.keep(
                draft, visit=desk.visit, on=desk.memory.on, known=desk.record.before, bearing=desk.bearing
            )  # type: ignore[arg-type]
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
    if drafts:
        desk.record.forget("happened", "rounds")
    return stored


def keep_all_tapped(desk: Desk) -> None:
    """Before a visit closes: what anybody tapped on prints of its bearings becomes entries of theirs."""
    drafts = list(TappedCells.objects.waiting(desk.visit.pk))  # type: ignore[union-attr]
    if not drafts:
        return
    for one in desk.bearing.place.bearings.standing():
        own = [draft for draft in drafts if draft.bearing == one.pk]
        if own:
            keep_tapped(desk if one.pk == desk.bearing.pk else desk.beside(one), own)


@at_the_pump
def scraped(desk: Desk) -> HttpResponse:
    """Metal was taken off: one tap, and the next round begins; with a reason where
    scraping is not offered.
    """
    keep_tapped(desk)
    if desk.request.method == "POST":
        note = desk.request.POST.get("note", "").strip()[:300]
        if not note and not scraping_of(desk.rules).offered:
            messages.error(desk.request, WHY_SCRAPED)
            return redirect(desk.screens.address("record-overview"))
        _scrape(desk, desk.request.POST.get("id"), note)
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    return redirect(
        desk.screens.address("record-check")
        if rounds
        else desk.screens.address("record-reading", stage=Stage.AS_LEFT)
    )


def _scrape(desk: Desk, id: str | None, note: str = "") -> None:
    try:
        event(
            visit=desk.visit,
            bearing=desk.bearing,
            kind=EventKind.SCRAPE,
            on=desk.memory.on,
            by=desk.person,
            id=_id(id),
            note=note,
        )  # type: ignore[arg-type]
    except NotRecorded as fault:
        messages.error(desk.request, str(fault))


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
    """What the button to the other half's print says, and where it leads: its check of this round, or a new
    one.
    """
    other = "upper" if half == "lower" else "lower"
    there = [one for one in rounds if (one.half or "lower") == other and one.round == _n_rounds(rounds)]
    if there:
        return f"See the {other} half's print", desk.screens.address("record-print", check=there[-1].pk)
    return f"Check the {other} half too", desk.screens.address("record-check", half=other)


def _arcs(row: ContactCheck) -> str:
    """The print's arc and the worn arc, which are two things: "Print arc 64 degrees; worn arc 110 degrees,
    kept apart".
    """
    print_arc, worn_arc = row.conditions.get("arc_deg"), row.worn.get("arc_deg")
    said = [f"Print arc {float(print_arc):.0f}°"] if print_arc else []
    said.append(f"worn arc {float(worn_arc):.0f}°" if worn_arc else "worn arc not noted")
    return "; ".join(said)


def _store(desk: Desk, form: ContactForm, cells: Any, drawn: str, instead_of: ContactCheck | None) -> bool:
    try:
        check_contact(
            visit=desk.visit,
            bearing=desk.bearing,
            on=desk.memory.on,
            cells=cells,
            drawn=drawn,
            by=desk.person,
            instead_of=instead_of,
            criteria=criteria_at(desk),
            id=form.cleaned_data["id"],
            match_mark=form.cleaned_data["match_mark"],
            facts=check_facts(form.facts(), desk.record.before, desk.visit, desk.bearing),
        )  # type: ignore[arg-type]
    except NotRecorded as fault:
        messages.error(desk.request, str(fault))
        return False
    return True


def criteria_at(desk: Desk) -> contact.Criteria:
    """What this plant accepts as contact today."""
    return criteria_for(desk.bearing.place.site_id, desk.memory.on)


def _now_um(desk: Desk) -> float | None:
    return clearance_now(desk.record.readings, desk.record.before)


def _as_before(desk: Desk, rounds: list[ContactCheck], half: str) -> dict[str, Any]:
    """A new check is taken as the last one of its half was, else as the other's; the first in place, with dye
    not said.
    """
    facts = desk.record.before.known.facts
    loaded = "upper" if facts and facts.load_side == "top" else "lower"
    half = half if half in ("upper", "lower") else (rounds[-1].half if rounds else loaded)
    same = [one for one in rounds if (one.half or "lower") == half]
    if same:
        return tapped_cells.taken_as(same[-1])
    if rounds:
        return tapped_cells.taken_as(rounds[-1]) | {"half": half, "worn_arc_deg": None, "match_mark": ""}
    return {"id": new_id(), "half": half, "in_place": "yes", "film": "", "bedded": "", "first_end": "out"}


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
    left, right = ENDS if first_end == "in" else reversed(ENDS)
    return END_WORDS[left], END_WORDS[right]


def _grid(cells: Any, row: ContactCheck) -> list[list[Cell]]:
    words = print_drawing.row_words(len(cells), row.half)
    left, right = _ends(row.pattern.get("first_end", "out"))
    last = len(cells[0]) - 1
    return [
        [
            Cell(
                i,
                k,
                mark,
                f"row {i + 1}, {words[i]}; column"
                f" {k + 1}{', ' + left if k == 0 else ', ' + right if k == last else ''}:"
                f" {print_drawing.MARK_WORDS[mark]}",
                print_drawing.MARK_WORDS[mark],
            )
            for k, mark in enumerate(line)
        ]
        for i, line in enumerate(cells)
    ]


def _tapped(post: Any, stored: Any) -> list[list[int]]:
    """The cells as the page holds them; a cell named by its button is turned on: none, light, heavy, none
    again.
    """
    cells = read_cells(post.get("cells", "")) if post.get("cells") else [list(line) for line in stored]
    for i, line in enumerate(cells):
        for k in range(len(line)):
            chosen = post.get(f"cell-{i}-{k}")
            if chosen in ("0", "1", "2"):
                line[k] = int(chosen)
    row, _, column = post.get("cell", "").partition(",")
    if row.isdecimal() and column.isdecimal():
        i, k = int(row), int(column)
        if i < len(cells) and k < len(cells[i]):
            cells[i][k] = (cells[i][k] + 1) % 3
    if "finer" in post and len(cells) * 2 <= FINEST:
        cells = [[mark for mark in line for _ in (0, 1)] for line in cells for _ in (0, 1)]
    return cells
