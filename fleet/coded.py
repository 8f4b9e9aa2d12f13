"""What is kept where a person will read a sentence: its code and its figures. `presentation` makes the sentence."""

from collections.abc import Iterable
from datetime import date
from typing import Any

Coded = tuple[str, dict[str, Any]]

GIVEN_LENGTH = 60


def coded(code: str, **figures: object) -> Coded:
    """The figures as JSON has them: days as ISO text, what is coded itself as lists."""
    return code, {name: _plain(value) for name, value in figures.items()}


def wrong(code: str, given: object, **figures: object) -> Coded:
    """What is wrong with a value: `given` as a person recognises it, None where nothing was; a day as `given_on`."""
    if isinstance(given, date):
        return coded(code, given_on=given, **figures)
    return coded(code, given=None if given is None else repr(given)[:GIVEN_LENGTH], **figures)


def as_row(code: str, **figures: object) -> list[Any]:
    """The same as JSON keeps it, so that what was read back equals what was made."""
    return [code, coded(code, **figures)[1]]


def as_rows(said: Iterable[Coded]) -> list[Any]:
    """As a JSON column keeps them."""
    return [_plain(each) for each in said]


def _plain(value: object) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return [_plain(each) for each in value] if isinstance(value, tuple | list) else value
