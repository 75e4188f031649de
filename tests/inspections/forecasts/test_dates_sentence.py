"""What a bearing's page says of its dates: a day that has gone by is said as a chance, once."""

import datetime as dt
import re

from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.forecast_sentences import dates_sentence

TODAY = dt.date(2026, 11, 27)
BASE = {"outcome": "ok", "replace_limit_from": "derived", "p_replace_now": 0.97}


def words(p10, p50, p90, **more):
    days = {"replace_date_p10": p10, "replace_date_p50": p50, "replace_date_p90": p90}
    return re.sub(r"<[^>]+>", "", dates_sentence(Figures(BASE | days | more), TODAY)).replace("\u00a0", " ")


def test_all_three_days_gone_by_are_one_chance():
    assert words("2025-01-01", "2026-01-01", "2026-11-27") == (
        "May have reached its replace-rather-than-scrape limit: the chance that it has is more than 9 in 10."
    )


def test_what_still_lies_ahead_is_said():
    text = words("2025-01-01", "2027-11-05", "beyond", p_replace_now=0.2)
    assert text.startswith(
        "May have reached its replace-rather-than-scrape limit: the chance that it has is 2 in"
    )
    assert "an even chance before November 2027; 9 in 10 beyond 40 years" in text and "already" not in text
