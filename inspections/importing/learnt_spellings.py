"""What an import writes beside its rows: spellings learnt from answers, and readings that corrected ones
replace.
"""

from collections.abc import Sequence

from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import ParsedRow
from fleet.ledger.writing import Fact
from fleet.models import Name, Place, folded
from fleet.plant.acts import fact_of
from inspections.models import Reading


def facts(rows: Sequence[ParsedRow], context: Context) -> list[Fact]:
    """Spellings learnt, and the readings that corrected ones replace taken back."""
    said: list[Fact] = []
    known = (
        set(Name.objects.standing().filter(spelling=True).values_list("thing", "folded"))
        if context.memory.get("learnt")
        else set()
    )
    for (of, pk, text), thing in context.memory.get("learnt", {}).items():
        if (pk, folded(text)) in known:
            continue
        site_id = (
            thing.pk if of == "site" else thing.site_id if isinstance(thing, Place) else thing.place.site_id
        )
        row = Name(
            of=of,
            thing=pk,
            site_id=None if of == "site" else site_id,
            text=text,
            folded=folded(text),
            spelling=True,
        )
        said.append(fact_of(row))
    wrong = {row.values["_corrects"]: row for row in rows if row.values.get("_corrects")}
    for stored in Reading.objects.standing().filter(pk__in=list(wrong)):
        body = {"of": "reading", "id": stored.pk, "reason": "corrected in the sheet that came again"}
        said.append(Fact(f"bearing:{stored.bearing_id}", "withdrawal", body=body))
    return said
