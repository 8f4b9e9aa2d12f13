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
