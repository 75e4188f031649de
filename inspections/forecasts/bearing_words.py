"""What a bearing's page and its report say first: the dates, what they rest on, the word and its sentence.
Pure.
"""

import datetime as dt
from dataclasses import dataclass

from django.utils.html import format_html
from django.utils.safestring import SafeString

from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.forecast_sentences import dates_sentence, rests_on, room_sentence
from inspections.forecasts.judgement.judgement_figures import Column, Judgement, Why, Word
from inspections.forecasts.judgement.judgement_sentence import WORDS, no_life_words, sentence, standing_of


@dataclass(frozen=True)
class BearingWords:
    """`dates` and `rests_on` of the forecast; `word` and `stands` of the judgement; `until`: the outage
    before which a chance is told.
    """

    dates: SafeString
    rests_on: str
    word: str
    stands: str
    until: Column | None
    room: str


def bearing_words(figures: Figures, judgement: Judgement, today: dt.date) -> BearingWords:
    """The first words of a bearing from its forecast and its judgement of one day, which never contradict.

    Where the maximum does not lie above the fitted clearance, one of the two is wrong: no date is told of
    it, nor that it has passed it.
    """
    standing = standing_of(judgement, figures["last_reading_um"], figures.day("last_reading_on"))
    has_life = judgement.why != Why.NO_LIFE
    columns = judgement.columns
    coming = columns[0] if columns else None
    return BearingWords(
        dates_sentence(figures, today) if has_life else format_html("No date: {}", no_life_words(standing)),
        rests_on(figures) if has_life else "",
        WORDS[judgement.word],
        sentence(standing),
        coming if judgement.word == Word.DECIDE_NOW else judgement.at,
        room_sentence(figures) if has_life else "",
    )
