"""Strict JSON: what two readers could take differently is refused."""

import json
from decimal import Decimal
from typing import Any

from django.conf import settings
from rest_framework.exceptions import APIException, ParseError, UnsupportedMediaType
from rest_framework.parsers import BaseParser
from rest_framework.utils.mediatypes import media_type_matches

from fleet.coded import GIVEN_LENGTH
from fleet.intake.fields import PATH_LENGTH

DEPTH, KEYS_MAX = 32, 200
LARGEST_EXPONENT = 30
LARGEST = 2**53 - 1  # beyond it readers differ (RFC 7493)
_FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


class TooLong(APIException):
    status_code = 413
    default_code = "too_long"

    def __init__(self) -> None:
        super().__init__(f"The body is longer than {settings.DATA_UPLOAD_MAX_MEMORY_SIZE} bytes; nothing was kept.")


class StrictJSONParser(BaseParser):
    """At most 1 MB and 32 deep, 200 keys an object, no duplicate keys, no NaN, no NUL; numbers as Decimal."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        return read_strictly(read_bytes(stream))


class AsSentParser(BaseParser):
    """The bytes as they came, whatever they call themselves, for messages that are kept when they can't be read."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> bytes:
        if media_type and any(media_type_matches(form, media_type.split(";")[0]) for form in _FORMS):
            raise UnsupportedMediaType(media_type)
        return read_bytes(stream)


def read_bytes(stream: Any) -> bytes:
    body: bytes = stream.read(settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1)
    if len(body) > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
        raise TooLong
    return body


def read_strictly(body: bytes) -> Any:
    """The body's value. Raises ParseError saying what was wrong and, where known, at which character."""
    try:
        text = body.decode("utf-8")
        _refuse_depth(text)
        value = json.loads(
            text,
            parse_float=_decimal,
            parse_int=_whole,
            parse_constant=_refuse_constant,
            object_pairs_hook=_refuse_duplicates,
        )
        _refuse_characters(value, "body")
        return value
    except UnicodeDecodeError as bad:
        raise ParseError(f"The body isn't UTF-8: {bad.reason} at byte {bad.start}.") from bad
    except json.JSONDecodeError as bad:
        raise ParseError(f"The body isn't JSON: {bad.msg} at character {bad.pos}.") from bad
    except ValueError as bad:
        raise ParseError(str(bad)) from bad


def read_leniently(body: bytes) -> Any:
    """Whatever can be made out of a body that was refused: only to look whether it calls something unsafe."""
    try:
        return json.loads(body.decode("utf-8", "replace"))
    except (ValueError, RecursionError):
        return None


def _decimal(text: str) -> Decimal:
    try:
        value = Decimal(text)
    except ArithmeticError as bad:
        raise ValueError(f"The number {text[:40]} can't be held.") from bad
    if value.adjusted() > LARGEST_EXPONENT:
        raise ValueError(f"The number {text[:40]} can't be held.")
    return value


def _refuse_depth(text: str) -> None:
    depth, quoted, escaped = 0, False, False
    for position, letter in enumerate(text):
        if quoted:
            quoted = letter != '"' or escaped
            escaped = letter == "\\" and not escaped
        elif letter == '"':
            quoted = True
        elif letter in "[{":
            depth += 1
            if depth > DEPTH:
                raise ValueError(f"The body is nested deeper than {DEPTH} at character {position}.")
        elif letter in "]}":
            depth -= 1


def _whole(digits: str) -> int:
    if len(digits) > 17 or abs(int(digits)) > LARGEST:
        raise ValueError(f"{digits[:20]} is too large; whole numbers go to {LARGEST}, give it as a string.")
    return int(digits)


def _refuse_constant(word: str) -> None:
    raise ValueError(f"{word} isn't a number here; leave the field out or give a qualifier.")


def _refuse_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > KEYS_MAX:
        raise ValueError(f"An object has {len(pairs)} keys; it may have at most {KEYS_MAX}.")
    read: dict[str, Any] = {}
    for key, value in pairs:
        if key in read:
            raise ValueError(f"The key {_short(key)} stands twice in one object.")
        if not key.isascii():
            raise ValueError(f"The key {_short(key)} isn't ASCII; all keys here are.")
        read[key] = value
    return read


def _short(key: str) -> str:
    return repr(key[:GIVEN_LENGTH])


def _refuse_characters(value: Any, path: str) -> None:
    """A NUL ends a string for some databases; half a surrogate pair is no character at all."""
    if isinstance(value, str):
        if "\x00" in value:
            raise ValueError(f"The field {path[:PATH_LENGTH]} holds a NUL character.")
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            raise ValueError(f"The field {path[:PATH_LENGTH]} holds half a surrogate pair.")
    elif isinstance(value, dict):
        for key, each in value.items():
            _refuse_characters(key, path)
            _refuse_characters(each, f"{path}.{key}")
    elif isinstance(value, list):
        for index, each in enumerate(value):
            _refuse_characters(each, f"{path}.{index}")
