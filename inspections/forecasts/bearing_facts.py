"""What the page of a bearing says beside its chart: facts with their units, and what is not set and so
switched off.
"""

import datetime as dt

from fleet.formatting import day, days_ago, hours, mm, percent, rate, rate_range, rpm, um, um_range
from fleet.models import BearingFacts, LimitUse
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.wear_inputs import Known

EXPOSURE = {
    "run_hours": "by the hour meter",
    "stated_duty": "by the stated duty; no hour meter is recorded",
    "calendar": "no run hours and no duty known: calendar hours",
}
Fact = tuple[str, str, str]  # name, value, what stands under it


def facts(known: Known, figures: Figures, today: dt.date) -> list[Fact]:
    """Name, value and a word under it; what is not known is left out, or says so where it matters."""
    own, place = known.facts, known.place
    rows: list[Fact] = []
    if figures["rate_um_per_kh_p50"] is not None:
        between = rate_range(figures["rate_um_per_kh_p10"], figures["rate_um_per_kh_p90"])
        rows.append(
            ("Wear", rate(figures["rate_um_per_kh_p50"], figures["exposure"]), f"{between}, 8 in 10 within")
        )
    if figures["own_evidence"] is not None:
        rows.append(("Own evidence", percent(figures["own_evidence"]), _detects(figures)))
    rows += _limits(known, figures)
    left = figures["scrapes_left"]
    if left is not None and figures["replace_limit_from"] != "no_room":
        rows.append(
            (
                "Scrapes left",
                f"{max(int(left), 0)}",
                _scrapeable_words(own),
            )
        )
    rows.append(("Duty", f"{hours(round(known.hours_per_day, 1))} a day", EXPOSURE[known.run.clock]))
    if known.ahead and known.ahead.periods:
        rows.append(("Planned duty", planned_words(known), "the dates count with it"))
    if own and own.journal_diameter_um is not None:
        rows.append(
            (
                "Journal",
                mm(own.journal_diameter_um, 1),
                rpm(place.speed_rpm) if place and place.speed_rpm else "",
            )
        )
    if own and own.shell_type:
        rows.append(("Shell", own.shell_type, _scrapeable_words(own)))
    if figures["class"]:
        rows.append(("Class", figures["class"], ""))
    if own and own.seat == "spherical":
        rows.append(("Seat", "spherical", "a contact check says little here"))
    if place and place.twin:
        rows.append(("Twin", place.twin, "never both at once"))
    last = figures.day("last_reading_on")
    rows.append(("Last measured", days_ago(last, today) if last else "never", day(last) if last else ""))
    return rows


def _scrapeable_words(own: BearingFacts | None) -> str:
    said = {True: "", False: "must not be scraped", None: "not known whether it may be scraped"}
    return said[own.scrapeable if own else None]


def _detects(figures: Figures) -> str:
    least = figures["detectable_um_per_kh"]
    return f"its readings show rates above {rate(least, figures['exposure'])}" if least is not None else ""


def planned_words(known: Known) -> str:
    """The duty ahead as it is planned."""
    said = []
    for one in known.ahead.periods if known.ahead else ():
        starts = f", {one.starts_per_day:g} starts a day" if one.starts_per_day is not None else ""
        until = f" to {day(one.until_on)}" if one.until_on else ""
        said.append(f"{hours(round(one.hours_per_day, 1))} a day{starts} from {day(one.from_on)}{until}")
    return "; ".join(said)


def _limits(known: Known, figures: Figures) -> list[Fact]:
    rows: list[Fact] = []
    low, high = known.limits.get(LimitUse.FITTING_MIN), known.limits.get(LimitUse.FITTING_MAX)
    if low and high and low.value_um is not None and high.value_um is not None:
        rows.append(("New", um_range(low.value_um, high.value_um), high.get_authority_display()))
    elif high and high.value_um is not None:
        rows.append(("New, at most", um(high.value_um), high.get_authority_display()))
    if figures["in_service_max_um"] is not None:
        said = ", ".join(word for word in (figures["limit_authority"], figures["limit_document"]) if word)
        rows.append(("In-service maximum", um(figures["in_service_max_um"]), said))
    if figures["replace_limit_um"] is not None and figures["replace_limit_from"] != "no_room":
        origin = {
            "plant": figures["replace_authority"] or "set by the plant",
            "derived": "derived for the coming outages, not set by the plant",
            "lining": "from the lining left",
        }
        rows.append(
            ("Replace limit", um(figures["replace_limit_um"]), origin.get(figures["replace_limit_from"], ""))
        )
    return rows


def missing_words(known: Known) -> list[str]:
    """What is not set, and what that switches off."""
    words = {
        LimitUse.IN_SERVICE_MAX: (
            "No in-service maximum: no chance of passing it, and no derived replace limit."
        ),
        LimitUse.FITTING_MAX: "No fitting clearance: a reading after new metal is held against nothing.",
    }
    said = [sentence for use, sentence in words.items() if use not in known.limits]
    if known.facts is None or known.facts.journal_diameter_um is None:
        said.append(
            "No journal diameter: a clearance is not checked against the journal, and no rule can suggest a"
            " limit."
        )
    if not known.coming.n_known:
        said.append("No coming outage: the usual interval is assumed.")
    return said
