"""Canonical bytes: the same content gives the same bytes, and what two readers could take differently is refused."""

import json
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.evidence import canonical_bytes, sha256_hex

_KEYS = st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=8)
_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(max_size=12).filter(str.isprintable),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(_KEYS, _VALUES, max_size=4))
def test_equal_to_an_independent_implementation_of_rfc_8785(content: dict[str, Any]) -> None:
    ours = canonical_bytes(content)
    assert ours == rfc8785.dumps(json.loads(ours))
    assert canonical_bytes(json.loads(ours)) == ours


def test_order_of_keys_does_not_matter() -> None:
    assert canonical_bytes({"b": 1, "a": [{"d": "x", "c": None}]}) == b'{"a":[{"c":null,"d":"x"}],"b":1}'


def test_equal_letters_in_two_encodings_become_one() -> None:
    assert canonical_bytes({"name": "e\u0301"}) == canonical_bytes({"name": "\u00e9"})


@pytest.mark.parametrize(("content", "path"), [({"a": 1.5}, ".a"), ({"a": [2**53]}, ".a.0"), ({"é": 1}, "content")])
def test_what_could_be_read_in_two_ways_is_refused_by_its_path(content: dict[str, Any], path: str) -> None:
    with pytest.raises(ValueError, match=path.replace(".", r"\.")):
        canonical_bytes(content)


def test_sha256_by_the_standards_own_example() -> None:
    """FIPS 180-4 example: the message abc."""
    assert sha256_hex(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ({"a": {"b": [{"c": 1e300}]}}, r"^\.a\.b\.0\.c is a float; give measured values as decimal strings$"),
        ({"a": -(2**53)}, r"^\.a is -9007199254740992; whole numbers go to 9007199254740991"),
        ({"a": {1: "x"}}, r"^\.a has the key 1; keys are ASCII strings$"),
        ({"a": {None: "x"}}, "has the key None"),
        ({"a": {1, 2}}, r"^\.a is a set"),
        ({"a": b"x"}, r"^\.a is a bytes"),
        ({"a": float("nan")}, "is a float"),
    ],
)
def test_the_refusal_says_where_what_and_what_is_allowed(content: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        canonical_bytes(content)


def test_the_largest_whole_numbers_are_taken_and_true_is_no_number() -> None:
    """RFC 8785 section 3.2.2.3: beyond 2**53 - 1 a double no longer holds each whole number."""
    content = {"high": 2**53 - 1, "low": 1 - 2**53, "yes": True, "no": False, "none": None}
    assert canonical_bytes(content) == (
        b'{"high":9007199254740991,"low":-9007199254740991,"no":false,"none":null,"yes":true}'
    )


def test_a_tuple_is_a_list_and_what_was_handed_in_stays_as_it_was() -> None:
    content = {"a": ("e\u0301", ["x"])}
    assert canonical_bytes(content) == canonical_bytes({"a": ["\u00e9", ["x"]]})
    assert content == {"a": ("e\u0301", ["x"])}


def test_control_characters_and_quotes_are_escaped_as_the_standard_says() -> None:
    """RFC 8785 section 3.2.2.2: the two-character escapes where JSON has them, else \\u00xx in small letters."""
    assert canonical_bytes({"a": '\b\t\n\f\r"\\\x1f/\x7f€'}) == '{"a":"\\b\\t\\n\\f\\r\\"\\\\\\u001f/\x7f€"}'.encode()


@given(st.dictionaries(_KEYS, _VALUES, max_size=4), st.dictionaries(_KEYS, _VALUES, max_size=4))
@settings(max_examples=60)
def test_what_differs_when_it_is_read_differs_in_its_hash(one: dict[str, Any], other: dict[str, Any]) -> None:
    bytes_of = [canonical_bytes(each) for each in (one, other)]
    read = [json.loads(each) for each in bytes_of]
    # By their JSON text: in Python 1 equals True.
    same = json.dumps(read[0], sort_keys=True) == json.dumps(read[1], sort_keys=True)
    assert (sha256_hex(bytes_of[0]) == sha256_hex(bytes_of[1])) == same


def test_names_of_keys_are_told_apart_by_case_and_sorted_by_code_point() -> None:
    assert canonical_bytes({"b": 1, "B": 2, "a": 3, "_": 4, "1": 5, "": 6}) == b'{"":6,"1":5,"B":2,"_":4,"a":3,"b":1}'
