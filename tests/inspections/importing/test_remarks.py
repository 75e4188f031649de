"""What a remark tells of: each work at the bearing of its own clause, denials and orders heard, slips asked
about.
"""

import re

import pytest

from inspections.importing.clauses import tellings
from inspections.importing.trades_work_words import LANGUAGES

NAMES = {"DE": re.compile(r"(?<!\w)(?<!N[.-])D\.?E\b\.?"), "NDE": re.compile(r"N[.-]?D\.?E\b\.?")}


def told(note):
    """Kind and positions of each work a remark tells of; a question mark for a word that may be another."""
    return [(one.kind + "?" * one.is_doubtful, " ".join(one.positions)) for one in tellings(note, NAMES)]


@pytest.mark.parametrize(
    ("note", "works"),
    [
        ("DE scraped, ok; NDE new brgs", [("scrape", "DE"), ("shell_change", "NDE")]),
        ("N.D.E. new shells fitted. D.E. scraped in.", [("shell_change", "NDE"), ("scrape", "DE")]),
        ("DE scraped and NDE new brgs", [("scrape", "DE"), ("shell_change", "NDE")]),
        ("scraped DE and new brgs NDE", [("scrape", "DE"), ("shell_change", "NDE")]),
        ("DE scraped NDE new brgs", [("scrape", "DE"), ("shell_change", "NDE")]),
        ("DE and NDE scraped", [("scrape", "DE NDE")]),
        ("DE, NDE scraped", [("scrape", "DE NDE")]),
        ("new brgs both ends", [("shell_change", "DE NDE")]),
        ("DE: scraped, new brgs; NDE: ok", [("scrape", "DE"), ("shell_change", "DE")]),
        ("DE ok, scraped", [("scrape", "")]),
        ("DE light, NDE not scraped", []),
        ("DE not scraped, NDE scraped", [("scrape", "NDE")]),
        ("DE scraped NDE light", [("scrape", "")]),
        ("nu brgs, shaft ground", [("shell_change", ""), ("journal_regrind", "")]),
        ("DE geschabt, NDE neue Lagerschalen", [("scrape", "DE"), ("shell_change", "NDE")]),
    ],
)
def test_a_work_belongs_to_the_position_of_its_own_clause(note, works):
    assert told(note) == works


@pytest.mark.parametrize(
    "note",
    [
        "not scraped",
        "not yet scraped",
        "could not be scraped? no, not scraped",
        "new shells not fitted",
        "new shells, not fitted",
        "new shells ordered",
        "new shells on order",
        "new shells, ordered 3/14",
        "ordered new shells",
        "new shells to be fitted next outage",
        "new brgs recommended",
        "new bearings received, in store",
        "needs new bearings",
        "to be scraped next time",
        "scraped?",
        "no new shells",
        "no shims changed",
        "planned: new shells",
        "new shells will be fitted in spring",
        "awaiting new shells",
        "nicht geschabt",
        "noch nicht geschabt",
        "Lager nicht geschabt",
        "muss geschabt werden",
        "neue Lager bestellt",
        "neue Lagerschalen nicht eingebaut",
        "neue Schalen geplant",
        "keine neuen Lager",
        "ohne Befund, nicht nachgeschabt",
        "neue Lagerschalen erforderlich",
        "Welle soll geschliffen werden",
        "neue Lager werden beim n\u00e4chsten Stillstand eingebaut",
        "Schaben nicht n\u00f6tig",
        "before new shells 0.31",
    ],
)
def test_denials_plans_and_orders_are_no_work_on_either_side_and_in_each_language(note):
    assert told(note) == []


@pytest.mark.parametrize(
    ("note", "kind"),
    [
        ("was scraped", "scrape"),
        ("due to wear new brgs", "shell_change"),
        ("new shells ordered and fitted", "shell_change"),
        ("planned outage new brgs fitted", "shell_change"),
        ("scraped to be checked again", "scrape"),
        ("not remetalled but scraped", "scrape"),
        ("no oil leak, scraped", "scrape"),
        ("new shells, not blued yet", "shell_change"),
        ("scraped. not shimmed", "scrape"),
        ("scraped and not shimmed", "scrape"),
        ("brg no 2 scraped", "scrape"),
        ("nicht ausgegossen, sondern geschabt", "scrape"),
        ("wurde geschabt", "scrape"),
        ("neue Lagerschalen eingebaut", "shell_change"),
        ("Lager wurden erneuert", "shell_change"),
        ("vor Ort geschabt", "scrape"),
    ],
)
def test_what_was_done_is_heard_beside_words_that_deny_something_else(note, kind):
    assert told(note) == [(kind, "")]


@pytest.mark.parametrize(
    ("note", "works"),
    [
        ("old shell scrapped, cracked", [("scrape?", "")]),
        ("scrapped DE only", [("scrape?", "DE")]),
        ("DE old shell scrapped, new shell fitted", [("scrape?", "DE"), ("shell_change", "")]),
    ],
)
def test_scrapped_may_be_thrown_away_and_is_always_asked_about(note, works):
    assert told(note) == works


def test_every_language_denies_in_its_own_words():
    for language in LANGUAGES:
        for kind, words in language.samples.items():
            for word in words:
                assert str(kind) in [one.kind for one in tellings(word)], word
        assert all((language.denies, language.denies_after, language.done, language.negates))
