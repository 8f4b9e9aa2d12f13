"""Fields of the API's own: ids that must be visible, plain booleans, and what a record keeps as entered."""

import math
import uuid
from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from operator import attrgetter
from typing import Any

from django.db.models import Model, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.errors import NotFound
from fleet.intake.fields import AsHeld, AsText, Day, DecimalText, Moment, Text, refused, without_decimals
from fleet.intervals.dates import EARLIEST_YEAR, LATEST_YEAR, is_in_reach
from fleet.limits import Verdict
from fleet.models import User
from fleet.predicates import day_in
from fleet.presentation.verdicts import verdict_sentence


class CodedOut(serializers.Serializer[Any]):
    """What a sentence is made of."""

    code = serializers.CharField()
    figures = serializers.DictField()


@extend_schema_field(CodedOut(many=True))
class CodedRows(serializers.Field[Any, Any, Any, Any]):
    """Codes with their figures, in the order in which a sentence takes them up. Read-only."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: Any) -> list[dict[str, Any]]:
        return [{"code": code, "figures": figures} for code, figures in value]


class Said(serializers.Field[Any, Any, Any, Any]):
    """What `say` makes of the whole thing, or of its part `of`. Read-only; its type is that of the function."""

    def __init__(self, say: Callable[[Any], Any], of: str = "", **kwargs: Any) -> None:
        super().__init__(source="*", read_only=True, **kwargs)
        self.say, self.of = say, of

    def to_representation(self, value: Any) -> Any:
        return self.say(attrgetter(self.of)(value) if self.of else value)


class Id(AsText):
    """A UUID as a string."""

    def to_internal_value(self, data: Any) -> uuid.UUID:
        return read_id(data)


def read_id(data: Any) -> uuid.UUID:
    """Raises ValidationError saying what an id looks like."""
    try:
        if isinstance(data, str):
            return uuid.UUID(data)
    except ValueError:
        pass
    raise serializers.ValidationError(
        f"is {repr(data)[:60]}; it must be a UUID such as 0198c2a4-7c00-7d3e-8f10-2b5a6c7d8e9f"
    )


class Reference(Id):
    """The id of something that the viewer may see; anything else is not found, whether it exists or not."""

    def __init__(self, query: Callable[[User], QuerySet[Any]], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.query = query

    def to_internal_value(self, data: Any) -> Any:
        wanted = super().to_internal_value(data)
        found = self.query(self.context["viewer"]).filter(id=wanted).first()
        if found is None:
            said = f"is {wanted}; there is nothing with this id that you may see"
            raise NotFound(
                "not_found", "The body names something that isn't there for you.", errors={self._path(): said}
            )
        return found

    def to_representation(self, value: Any) -> str:
        return str(value.pk if isinstance(value, Model) else value)

    def _path(self) -> str:
        return self.field_name or "id"


class Number(DecimalText):
    """A decimal number for a column that calculates: kept as a float in the unit that the field's name says."""

    def to_internal_value(self, data: Any) -> float:  # type: ignore[override]  # a column's float, not text
        return float(super().to_internal_value(data))

    def to_representation(self, value: Any) -> float:  # type: ignore[override]  # the same on the way out
        return float(value)


class DayOf(Day):
    """A calendar day for a column: kept as a date."""

    def to_internal_value(self, data: Any) -> date:  # type: ignore[override]  # a column's date, not text
        return date.fromisoformat(super().to_internal_value(data))


class MomentOf(Moment):
    """A time with its offset for a column: kept as a moment."""

    def to_internal_value(self, data: Any) -> datetime:  # type: ignore[override]  # a column's moment, not text
        return datetime.fromisoformat(super().to_internal_value(data))


class Whole(serializers.Field[int, Any, int, Any]):
    """A whole number, as a number."""

    def __init__(self, low: int, high: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.low, self.high = low, high

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int) or not self.low <= data <= self.high:
            raise refused(data, f"it must be a whole number from {self.low} to {self.high}")
        return data

    def to_representation(self, value: Any) -> int:
        return int(value)


class ExternalReference(Text):
    """Another program's own key for the entry; empty is none."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(100, required=False, allow_null=True, **kwargs)

    def to_internal_value(self, data: Any) -> str | None:  # type: ignore[override]  # empty becomes none
        return super().to_internal_value(data) or None

    def run_validation(self, data: Any = serializers.empty) -> Any:
        return super().run_validation(None if data == "" else data)


FIGURE_ENDINGS = ("_kw", "_years", "_h", "_mw")
DAY_ENDING = "_on"


class Facts(AsHeld):
    """What limit sets and interval rules ask about an appliance: words, numbers, yes or no, by name."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict) or len(data) > 50:
            raise refused(data, "it must be an object of at most 50 facts")
        return {name: self._fact(name, value) for name, value in data.items()}

    def _fact(self, name: str, value: Any) -> Any:
        if isinstance(value, dict | list) or value is None or len(str(value)) > 200:
            raise refused(value, "a fact is a string, a number, true or false", name)
        if isinstance(value, Decimal) and not math.isfinite(float(value)):
            raise refused(value, "it must be a number that can be held", name)
        if name.endswith(FIGURE_ENDINGS) and not isinstance(value, int | Decimal):
            raise refused(value, "by its name it is a number, unit and all", name)
        if name.lower().endswith(DAY_ENDING) and not _are_days(value):
            years = f"from {EARLIEST_YEAR} to {LATEST_YEAR}"
            raise refused(value, f"by its name it is a day {years} such as 2026-03-01, or several with commas", name)
        return value if isinstance(value, str | bool | int) else float(value)


def _are_days(value: Any) -> bool:
    days = [day_in(each.strip()) for each in value.split(",")] if isinstance(value, str) else [None]
    return all(day is not None and is_in_reach(day) for day in days)


class Rule(AsHeld):
    """A typed interval rule, as limit sets have them; whether it can be calculated with is checked beyond."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            raise serializers.ValidationError(
                f"is {repr(data)[:60]}; it must be an object with a type, such as "
                '{"type": "max_months", "months": 12}'
            )
        read: dict[str, Any] = without_decimals(data)
        return read


class VerdictField(serializers.DictField):
    """A verdict as plain data."""

    def to_representation(self, value: Verdict) -> dict[str, Any]:
        return vars(value) | {"sentence": verdict_sentence(value)}
