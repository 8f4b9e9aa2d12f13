"""Canonical JSON by RFC 8785, for the subset records use: objects with ASCII keys, arrays, strings, whole numbers,
booleans and null. Measured values are decimal strings, so that 9.20 stays 9.20 and no float is ever hashed."""

import hashlib
import json
import unicodedata
from typing import Any

LONGEST_NUMBER = 2**53 - 1


def canonical_bytes(content: dict[str, Any]) -> bytes:
    """The one byte sequence of `content`: keys sorted, no blanks, UTF-8, strings in Unicode NFC.

    Raises ValueError for floats, whole numbers beyond 2**53 - 1 and keys that aren't ASCII, naming the path.

    >>> canonical_bytes({"unit": "%", "value": "9.20"})
    b'{"unit":"%","value":"9.20"}'
    """
    plain = _plain(content, "")
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _plain(value: Any, path: str) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, int):
        if abs(value) > LONGEST_NUMBER:
            raise ValueError(
                f"{path or 'content'} is {value}; whole numbers go to {LONGEST_NUMBER}, give it as a string"
            )
        return value
    if isinstance(value, dict):
        for key in value:
            if not (isinstance(key, str) and key.isascii()):
                raise ValueError(f"{path or 'content'} has the key {key!r}; keys are ASCII strings")
        return {key: _plain(each, f"{path}.{key}") for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each, f"{path}.{index}") for index, each in enumerate(value)]
    raise ValueError(f"{path or 'content'} is a {type(value).__name__}; give measured values as decimal strings")


def sha256_hex(data: bytes) -> str:
    """SHA-256 (FIPS 180-4) as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()
