"""The clearance rules as they are printed, for the journal sizes that the sources work out or that follow
from them.
"""

from decimal import Decimal

import pytest

from fleet.published_rules import RULES, suggestions

INCH = Decimal(25_400)


def _rule(source: str, use: str):
    return next(rule for rule in RULES if rule.source.startswith(source) and rule.use == use)


@pytest.mark.parametrize(
    ("journal_in", "clearance_in"), [(2, "0.004"), (3, "0.005"), (4, "0.006"), (6, "0.008"), (8, "0.010")]
)
def test_the_pump_sleeve_bearing_rule_of_mil_hdbk_1164_table_17(journal_in, clearance_in):
    """Source: MIL-HDBK-1164, table 17: 0.002 in and 0.001 in per inch of journal."""
    assert _rule("MIL-HDBK-1164", "fitting_max").value_um(journal_in * INCH) == Decimal(clearance_in) * INCH


def test_the_si_wording_of_mil_hdbk_1164_agrees_within_its_rounding():
    """Source: the same table in SI, 51 um and 25 um per 25 mm: 151 um at 100 mm, the inch form 150.8."""
    value = _rule("MIL-HDBK-1164", "fitting_max").value_um(Decimal(100_000))
    assert value == Decimal("150.8") and abs(value - 151) < Decimal("0.5")


@pytest.mark.parametrize(
    ("journal_in", "clearance_in"), [(2, "0.005"), (Decimal("3.2"), "0.009"), (4, "0.009"), (6, "0.013")]
)
def test_the_pump_rule_of_navfac_mo_209(journal_in, clearance_in):
    """Source: NAVFAC MO-209, inspection of pumps: 0.002 in per inch (or fraction) and 0.001 in."""
    assert _rule("NAVFAC MO-209", "fitting_max").value_um(journal_in * INCH) == Decimal(clearance_in) * INCH


@pytest.mark.parametrize(
    ("journal_in", "new_in", "most_in"), [(2, "0.003", "0.006"), (4, "0.006", "0.012"), (6, "0.009", "0.018")]
)
def test_the_pump_rule_with_its_in_service_maximum_is_twice_new(journal_in, new_in, most_in):
    """Source: Practical Machinery Management for Process Plants, Major Process Equipment Maintenance and
    Repair, p. 30.
    """
    source = "Practical Machinery Management"
    assert _rule(source, "fitting_max").value_um(journal_in * INCH) == Decimal(new_in) * INCH
    assert _rule(source, "in_service_max").value_um(journal_in * INCH) == Decimal(most_in) * INCH


def test_a_suggestion_names_its_source_and_the_machine_it_was_written_for():
    (only,) = suggestions(4 * INCH, {"in_service_max"})
    assert only.value_um == Decimal("304.8")
    assert "p. 30" in only.sentence and "sleeve bearings of pumps" in only.sentence


def test_nothing_is_suggested_without_a_journal_diameter_or_for_a_limit_that_is_set():
    assert suggestions(None, {"in_service_max"}) == []
    assert suggestions(4 * INCH, {"replace"}) == []
