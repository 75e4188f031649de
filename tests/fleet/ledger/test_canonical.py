"""Canonical bytes and hashes against published vectors; no database."""

import datetime as dt
import hashlib
import json
import struct
from decimal import Decimal

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from fleet.ledger.canonical import (
    audit_path,
    canonical,
    canonical_bytes,
    canonical_hash,
    entry_text,
    leaf_hash,
    plain,
    sha256,
    tree_root,
)
from inspections.bundle.verify import root_by_path

# RFC 8785 (JSON Canonicalization Scheme), section 3.2.2 with 3.2.4: the sample object and its canonical
# bytes.
RFC_8785_SAMPLE = r"""{
  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
  "literals": [null, true, false]
}"""
RFC_8785_BYTES = """
    7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72
    75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a
    5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31
    65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37
    5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30
    30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d
"""


def test_the_sample_object_of_rfc_8785_gives_the_bytes_printed_there():
    assert canonical_bytes(json.loads(RFC_8785_SAMPLE)) == bytes.fromhex(RFC_8785_BYTES)


def test_the_hash_of_figures_is_that_of_the_published_bytes():
    digest = hashlib.sha256(bytes.fromhex(RFC_8785_BYTES)).hexdigest()
    assert canonical_hash(json.loads(RFC_8785_SAMPLE)) == digest


@pytest.mark.parametrize("value", [float("nan"), float("inf"), {"n": 2**53}])
def test_what_json_cannot_hold_has_no_hash(value):
    with pytest.raises(rfc8785.CanonicalizationError):
        canonical_hash(value)


def test_keys_are_sorted_by_utf_16_units_as_in_rfc_8785():
    # RFC 8785, section 3.2.3: the sorting example; the emoji's surrogates sort before U+FB33.
    given_here = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    assert list(json.loads(canonical(given_here)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


# RFC 8785, appendix B: IEEE 754 bits and the text of the number.
@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("0000000000000000", "0"),
        ("8000000000000000", "0"),
        ("0000000000000001", "5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("4340000000000000", "9007199254740992"),
        ("44b52d02c7e14af6", "1e+23"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555555", "333333333.3333333"),
        ("43143ff3c1cb0959", "1424953923781206.2"),
    ],
)
def test_numbers_are_written_as_in_appendix_b_of_rfc_8785(bits, text):
    assert rfc8785.dumps(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == text


def test_a_float_is_refused_because_it_has_no_one_decimal_text():
    with pytest.raises(TypeError, match="float has no canonical text"):
        plain({"clearance_um": 152.4})


def test_measured_values_keep_every_digit_they_were_given_with():
    assert canonical({"clearance_um": Decimal("152.4000")}) == '{"clearance_um":"152.4000"}'


def test_an_instant_is_written_in_utc_with_six_digits_and_a_day_as_a_day():
    here = dt.timezone(dt.timedelta(hours=2))
    assert plain(dt.datetime(2026, 3, 9, 8, 30, tzinfo=here)) == "2026-03-09T06:30:00.000000Z"
    assert plain(dt.date(2026, 3, 9)) == "2026-03-09"


def test_text_that_is_no_unicode_is_refused():
    with pytest.raises(Exception, match=r"(?i)surrogate|utf"):
        canonical({"note": "\ud800"})


words = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)


values = words | st.integers(-(2**53) + 1, 2**53 - 1) | st.booleans() | st.none()
# Chains and kinds are named by us: ASCII.
ascii_words = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=20)


@given(body=st.dictionaries(words, values), chain=ascii_words)
def test_an_entry_put_together_by_hand_is_canonical_as_a_whole(body, chain):
    whole = {
        "act": "a",
        "body": body,
        "by": "b",
        "chain": f"bearing:{chain}",
        "format": 1,
        "kind": "reading",
        "n": 7,
        "prev": "0" * 64,
        "recorded_at": "2026-03-09T06:30:00.000000Z",
    }
    assert entry_text(**{**whole, "body": canonical(body)}) == canonical(whole)


# RFC 6962, section 2.1, and the published vectors of its test suites: the root of nothing, of an empty leaf,
# of a named leaf.
def test_the_root_of_no_leaves_is_that_of_rfc_6962():
    assert tree_root([]).hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_leaves_are_hashed_with_a_zero_before_them_as_in_rfc_6962():
    assert leaf_hash(b"").hex() == "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"
    assert leaf_hash(b"L123456").hex() == "395aa064aa4c29f7010acfe3f25db9485bbd4b91897b6ad7ad547639252b4d56"


def test_a_node_is_hashed_with_a_one_before_its_two_children_as_in_rfc_6962():
    node = hashlib.sha256(b"\x01" + b"N123" + b"N456").hexdigest()
    assert node == "aa217fe888e47007fa15edab33c2b492a722cb106c64667fc2b044444de66bbb"
    left, right = leaf_hash(b"a"), leaf_hash(b"b")
    assert tree_root([b"a", b"b"]) == hashlib.sha256(b"\x01" + left + right).digest()


# The eight leaves and the roots of 1 to 8 of them that implementations of RFC 6962 publish with their tests.
LEAVES = ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
ROOTS = {
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    6: "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}


@pytest.mark.parametrize(("n", "root"), ROOTS.items())
def test_the_root_of_the_first_leaves_is_the_published_one(n, root):
    assert tree_root([bytes.fromhex(leaf) for leaf in LEAVES[:n]]).hex() == root


def _as_rfc_6962_defines_it(leaves: list[bytes]) -> bytes:
    """The definition word for word: split at the largest power of two below n."""
    if len(leaves) < 2:
        return tree_root(leaves)
    k = 1
    while k * 2 < len(leaves):
        k *= 2
    return hashlib.sha256(
        b"\x01" + _as_rfc_6962_defines_it(leaves[:k]) + _as_rfc_6962_defines_it(leaves[k:])
    ).digest()


@given(st.lists(st.binary(max_size=8), max_size=40))
def test_pairing_level_by_level_gives_the_root_of_the_recursive_definition(leaves):
    assert tree_root(leaves) == _as_rfc_6962_defines_it(leaves)


def test_a_hash_is_that_of_the_text_as_stored():
    assert sha256("{}") == "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"


@given(st.integers(1, 40), st.data())
def test_an_audit_path_leads_from_its_leaf_to_the_root_and_from_no_other(size, data):
    # RFC 6962, section 2.1.1; checked by the bundle's own reading of RFC 9162, section 2.1.3.2.
    leaves = [{"n": n} for n in range(size)]
    texts = [canonical(leaf).encode() for leaf in leaves]
    index = data.draw(st.integers(0, size - 1))
    path = [step.hex() for step in audit_path(texts, index)]
    root = tree_root(texts)
    assert root_by_path(leaves[index], index, size, path) == root
    assert root_by_path({"n": -1}, index, size, path) != root
    if size > 1:
        other = (index + 1) % size
        assert root_by_path(leaves[index], other, size, path) != root
        assert root_by_path(leaves[index], index, size, path[:-1]) != root


def test_the_audit_paths_of_rfc_6962s_example_of_seven_leaves():
    # RFC 6962, section 2.1.3: PATH(0) = [b, h, l], PATH(3) = [c, g, l], PATH(4) = [f, j, k], PATH(6) = [i,
    # k].
    d = [bytes([n]) for n in range(7)]
    a, b, c, e, f, g_, j = map(leaf_hash, d)

    def node(left, right):
        return hashlib.sha256(b"\x01" + left + right).digest()

    g, h, i = node(a, b), node(c, e), node(f, g_)
    k, l_ = node(g, h), node(i, j)
    assert tree_root(d) == node(k, l_)
    assert audit_path(d, 0) == [b, h, l_]
    assert audit_path(d, 3) == [c, g, l_]
    assert audit_path(d, 4) == [g_, j, k]
    assert audit_path(d, 6) == [i, k]
