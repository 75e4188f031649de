"""One bearing: what it is doing, and what to do."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from fleet.access import may
from fleet.clock import today_at
from fleet.published_rules import suggestions
from fleet.web.bearing_addresses import bearing_address, read
from fleet.web.bearing_search import called, visible
from inspections.forecasts import bearing_facts, forecast_sentences
from inspections.forecasts.bearing_words import bearing_words
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.limits import approvals
from inspections.records import position_merge
from inspections.trend import assembly, charts
from inspections.visits.signatures import asked_of
from inspections.visits.visit_cards import shown_of


@require_safe
def bearing(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """The trend, the dates in words and what they rest on, the advice, the facts, and what happened."""
    found = called(request.user, read(pump), read(position), request.GET.get("site", ""))
    if not found:
        raise Http404("No bearing of this name, or not at your sites.")
    if len(found) > 1:
        choices = [(one, bearing_address(one)) for one in found]
        return render(request, "inspections/which_site.html", {"choices": choices, "pump": read(pump)})
    (one,) = found
    today = today_at(one.place.site)
    figures = current([one], today)[one.pk]
    judgement = judgements([one], today)[one.pk]
    known, trend = assembly.trend_of(one, figures, today)
    trend = assembly.with_opening(trend, judgement)
    missing = {use for use in ("fitting_max", "in_service_max") if use not in known.limits}
    diameter = known.facts.journal_diameter_um if known.facts else None
    words = bearing_words(figures, judgement, today)
    context = {
        "bearing": one,
        "place": one.place,
        "figures": figures,
        "known": known,
        "today": today,
        "trend": trend,
        "picture": charts.trend_picture(trend),
        "plotly": charts.trend_plotly(trend),
        "readings": charts.trend_table(trend),
        "fan": charts.fan_table(trend) if trend.fan else None,
        "words": words,
        "judgement": judgement,
        "notes": figures["notes"] or [],
        "slip": forecast_sentences.slip_sentence(figures),
        "unwritten": forecast_sentences.unwritten_sentence(figures),
        "gauge_doubt": forecast_sentences.gauge_sentence(figures),
        "misfit": forecast_sentences.misfit_sentence(figures),
        "curve": forecast_sentences.curve_sentence(figures),
        "sudden": forecast_sentences.sudden_sentence(figures),
        "room": words.room,
        "dots": charts.twenty_dots(words.until.past) if words.until else "",
        "story": assembly.told(known, shown_of(one)),
        "suggested": suggestions(diameter, missing),
        "missing": bearing_facts.missing_words(known),
        "known_facts": bearing_facts.facts(known, figures, today),
        "limits": bearing_address(one, "bearing-limits"),
        "here": bearing_address(one),
        "waits": _waits(one, request.user),
        "to_sign": asked_of(request.user.person_id, one.place_id),
        "record": bearing_address(one, "record") if may(request.user, "record", one.place.site) else "",
    }
    return render(request, "inspections/bearing.html", context)


def _waits(bearing, account):
    """New shells that want a second person, to be confirmed here, and how many limits
    wait on their own page.
    """
    waits = approvals.waiting([bearing], account)
    shells = [one for one in waits if one.of == "shell"]
    return {"shells": shells, "n_limits": len(waits) - len(shells)}


@require_safe
def label(request: HttpRequest, pk) -> HttpResponse:
    """A label's address leads on to the bearing as it is called now: at the pump to its record page, else to
    its page.
    """
    one = get_object_or_404(visible(request.user), pk=position_merge.stands_for(pk))
    return redirect(
        bearing_address(one, "record" if may(request.user, "record", one.place.site) else "bearing")
    )
