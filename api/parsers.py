"""Strict JSON: what two readers could take differently is refused."""

import json
from decimal import Decimal
from typing import Any

from django.conf import settings
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser

DEPTH = 32


class StrictJSONParser(BaseParser):
    """At most 1 MB and 32 deep, no duplicate keys, no NaN, no NUL; numbers as Decimal."""

    media_type = "application/json"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        body = stream.read(settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1)
        if len(body) > settings.DATA_UPLOAD_MAX_MEMORY_SIZE:
            raise ParseError(f"The body is longer than {settings.DATA_UPLOAD_MAX_MEMORY_SIZE} bytes.")
        return read_strictly(body)


def read_strictly(body: bytes) -> Any:
    """The body's value. Raises ParseError saying what was wrong and, where known, at which character."""
    try:
        text = body.decode("utf-8")
        _refuse_depth(text)
        return json.loads(
            text, parse_float=Decimal, parse_constant=_refuse_constant, object_pairs_hook=_refuse_duplicates
        )
    except UnicodeDecodeError as bad:
        raise ParseError(f"The body isn't UTF-8: {bad.reason} at byte {bad.start}.") from bad
    except json.JSONDecodeError as bad:
        raise ParseError(f"The body isn't JSON: {bad.msg} at character {bad.pos}.") from bad
    except ValueError as bad:
        raise ParseError(str(bad)) from bad


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


def _refuse_constant(word: str) -> None:
    raise ValueError(f"{word} isn't a number here; leave the field out or give a qualifier.")


def _refuse_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read: dict[str, Any] = {}
    for key, value in pairs:
        if key in read:
            raise ValueError(f"The key {key!r} stands twice in one object.")
        if "\x00" in key or (isinstance(value, str) and "\x00" in value):
            raise ValueError(f"The field {key!r} holds a NUL character.")
        read[key] = value
    return read
