"""Strict fields: one reading of what came in, or a clear refusal that says what is allowed."""

import re
import unicodedata
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils.dateparse import parse_datetime
from rest_framework import serializers

from fleet.errors import Malformed
from fleet.predicates import day_in
from fleet.quantities import QUALIFIERS, Quantity, column_unit
from fleet.refusal_words import with_given
from fleet.units import convert

_DECIMAL = re.compile(r"-?[0-9]{1,9}(\.[0-9]{1,6})?")
# Control characters, and those that reorder text on screen or paper.
_UNWANTED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
# Beyond these no test was made and none will fall due; near the calendar's ends its arithmetic breaks.
FIRST_YEAR, LAST_YEAR = 1900, 2200
NON_FIELD = "non_field_errors"  # DRF's key for what is wrong with an object as a whole


def flat_errors(detail: Any, path: str = "") -> dict[str, str]:
    """{"readings.2.values.o2": "..."}: each wrong field by its path, with what is wrong and what is allowed."""
    if isinstance(detail, dict):
        parts = [flat_errors(value, _below(path, str(key))) for key, value in detail.items()]
    elif isinstance(detail, list) and any(isinstance(each, dict | list) for each in detail):
        parts = [flat_errors(value, f"{path}.{index}") for index, value in enumerate(detail)]
    else:
        said = " ".join(str(each) for each in detail) if isinstance(detail, list) else str(detail)
        return {path or "body": said} if said else {}
    return {key: value for part in parts for key, value in part.items()}


def _below(path: str, key: str) -> str:
    if key == NON_FIELD:
        return path
    return f"{path}.{key}" if path else key


def without_decimals(value: Any) -> Any:
    """The same, with numbers that aren't whole as decimal strings."""
    if isinstance(value, dict):
        return {str(key): without_decimals(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [without_decimals(each) for each in value]
    if isinstance(value, Decimal | float):
        return str(value)
    return value


def refused(given: Any, allowed: str, at: str = "") -> serializers.ValidationError:
    """What to raise of a value: what was given, and what is allowed; `at`: in which part of it."""
    said = f"is {_shown(given)}; {allowed}"
    return serializers.ValidationError({at: said} if at else said)


def cleaned(text: str) -> str:
    """In Unicode NFC, without control or reordering characters and space at its ends."""
    return unicodedata.normalize("NFC", _UNWANTED.sub("", text)).strip()


class StrictSerializer(serializers.Serializer[Any]):
    """Refuses keys it doesn't know: a misspelt field must not vanish."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, dict):
            raise serializers.ValidationError({NON_FIELD: [f"is {_shown(data)}; it must be an object"]})
        allowed = {name for name, field in self.fields.items() if not field.read_only}
        unknown = [str(key) for key in data if key not in allowed]
        if unknown:
            known = ", ".join(sorted(allowed))
            raise serializers.ValidationError(dict.fromkeys(unknown, f"is not known here; known are {known}"))
        try:
            return super().to_internal_value(data)
        except serializers.ValidationError as bad:
            raise serializers.ValidationError(_with_given(bad.detail, data)) from bad


def read_as(shape: type[StrictSerializer], data: Any, code: str, refusal: str) -> dict[str, Any]:
    """What the data says, as a record may hold it. Raises Malformed with each field, its value and what is allowed."""
    reader = shape(data=data)
    if not reader.is_valid():
        raise Malformed(code, refusal, errors=flat_errors(reader.errors))
    content: dict[str, Any] = without_decimals(dict(reader.validated_data))
    return content


def _with_given(detail: Any, data: Any) -> Any:
    """The same refusals, each with what was given at its place."""
    if isinstance(detail, dict):
        return {key: _with_given(said, _at(data, key)) for key, said in detail.items()}
    if isinstance(detail, list):
        return [_with_given(said, _at(data, place)) if isinstance(said, dict) else _with_given(said, data)
                for place, said in enumerate(detail)]  # fmt: skip
    return with_given(str(detail), data)


def _at(data: Any, key: Any) -> Any:
    try:
        return data[key]
    except (KeyError, IndexError, TypeError):
        return None


class AsHeld(serializers.Field[Any, Any, Any, Any]):
    """A field that is shown as it is held."""

    def to_representation(self, value: Any) -> Any:
        return value


class AsText(serializers.Field[Any, Any, Any, Any]):
    """A field that is shown as text."""

    def to_representation(self, value: Any) -> str:
        return str(value)


class Text(serializers.CharField):
    """A string, in Unicode NFC, without control or reordering characters."""

    def __init__(self, max_length: int = 200, **kwargs: Any) -> None:
        kwargs.setdefault("allow_blank", not kwargs.get("required", True))
        super().__init__(max_length=max_length, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            raise refused(data, "it must be a string")
        return super().to_internal_value(cleaned(data))

    def run_validation(self, data: Any = serializers.empty) -> Any:
        if isinstance(data, str):
            data = _UNWANTED.sub("", data)
        return super().run_validation(data)


class Word(serializers.ChoiceField):
    """One of a few plain words; the refusal names them."""

    def fail(self, key: str, **kwargs: Any) -> Any:
        words = ", ".join(str(each) for each in self.choices)
        raise refused(kwargs.get("input"), f"it must be one of: {words}")


class YesNo(serializers.Field[bool, Any, bool, Any]):
    """true or false, and no word or number in their place."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            raise refused(data, "it must be true or false")
        return data

    def to_representation(self, value: Any) -> bool:
        return bool(value)


class Moment(AsText):
    """An RFC 3339 time with its offset."""

    def to_internal_value(self, data: Any) -> str:
        try:
            moment = parse_datetime(data) if isinstance(data, str) else None
        except ValueError:
            moment = None
        if moment is None or moment.tzinfo is None:
            raise refused(data, "it must be a time with offset such as 2026-03-02T09:41:00+01:00")
        _check_year(moment, data)
        return moment.isoformat()


class MomentOrDay(Moment):
    """A time with offset, or only a day where no more is known."""

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, str) and re.fullmatch(r"\d{4}-\d{2}-\d{2}", data):
            return read_day(data).isoformat()
        return super().to_internal_value(data)


def read_day(text: str) -> date:
    """The calendar day in `text`. Raises ValidationError saying what is allowed."""
    day = day_in(text)
    if day is None:
        raise refused(text, "it must be a day such as 2026-03-02")
    _check_year(day, text)
    return day


def _check_year(day: date, text: Any) -> None:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise refused(text, f"its year must be from {FIRST_YEAR} to {LAST_YEAR}")


class Day(AsText):
    """A calendar day."""

    def to_internal_value(self, data: Any) -> str:
        return read_day(data if isinstance(data, str) else "").isoformat() if isinstance(data, str) else self._no(data)

    def _no(self, data: Any) -> str:
        raise refused(data, "it must be a day such as 2026-03-02")


class DayOrYear(Day):
    """A day, or only its month or year where no more is known: 2026-03-02, 2026-03, 2026."""

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, str) and re.fullmatch(r"[0-9]{4}(-[0-9]{2}){0,2}", data):
            read_day(f"{data}-01-01"[:10])
            return data
        return self._no(data)

    def _no(self, data: Any) -> str:
        raise refused(data, "it must be such as 2026-03-02, 2026-03 or 2026")


class DecimalText(AsText):
    """A decimal number as it was read: "9.20" stays "9.20". ASCII digits, no exponent, no boolean."""

    def __init__(self, low: float | None = None, high: float | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def to_internal_value(self, data: Any) -> str:
        text = str(data) if isinstance(data, int | Decimal) and not isinstance(data, bool) else data
        if not (isinstance(text, str) and _DECIMAL.fullmatch(text)):
            raise refused(data, 'it must be a decimal number such as "9.20"')
        if (self.low is not None and float(text) < self.low) or (self.high is not None and float(text) > self.high):
            raise serializers.ValidationError(f"is {text}; it must be from {self.low} to {self.high}")
        return text


class Measured(AsHeld):
    """{"value": "9.20", "unit": "%", "qualifier": "="}: kept as entered, with the figure in the column's unit."""

    def __init__(self, quantity: Quantity, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.quantity = quantity

    def to_internal_value(self, data: Any) -> dict[str, str]:
        if not isinstance(data, dict):
            raise refused(data, "it must be an object with value, unit, qualifier")
        if unknown := set(data) - {"value", "unit", "qualifier"}:
            raise serializers.ValidationError(f"has {sorted(unknown)}; known are value, unit, qualifier")
        qualifier = data.get("qualifier", "=")
        if qualifier not in QUALIFIERS:
            raise refused(qualifier, f"it must be one of: {', '.join(QUALIFIERS)}", "qualifier")
        if qualifier in ("not_measured", "sensor_fault"):
            return {"qualifier": qualifier}
        return self._figure(data, qualifier)

    def _figure(self, data: dict[str, Any], qualifier: str) -> dict[str, str]:
        unit = data.get("unit")
        if unit not in self.quantity.units:
            allowed = ", ".join(self.quantity.units)
            raise refused(unit, f"it must be one of: {allowed}", "unit")
        try:
            value = DecimalText().to_internal_value(data.get("value"))
        except serializers.ValidationError as bad:
            raise serializers.ValidationError({"value": bad.detail}) from bad
        figure = convert(Decimal(value), unit, column_unit(self.quantity))
        return {"value": value, "unit": unit, "qualifier": qualifier, "figure": plain_decimal(figure)}


def plain_decimal(value: Decimal) -> str:
    """At most six decimals, no exponent: what a record may hold."""
    text = format(round(value, 6), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _shown(value: Any) -> str:
    return "missing" if value is None else repr(value)[:60]
