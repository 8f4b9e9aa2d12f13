"""Fields of the API's own: ids that must be visible, plain booleans, and what a record keeps as entered."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from operator import attrgetter
from typing import Annotated, Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from pydantic import AfterValidator, ValidationInfo
from rest_framework import serializers

from fleet.coded import Coded, wrong
from fleet.errors import NotFound
from fleet.intake.fields import AnyObject, Id, Refused, Text, read_id, refused, without_decimals
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


@dataclass(frozen=True)
class Reference(Id):
    """The id of something that the viewer may see; anything else is not found, whether it exists or not."""

    query: Callable[[User], QuerySet[Any]]

    def read(self, given: Any, info: ValidationInfo | None = None) -> Any:
        wanted = read_id(given)
        assert info is not None
        found = self.query(info.context["viewer"]).filter(id=wanted).first()
        if found is None:
            errors = {info.field_name or "id": wrong("nothing_of_this_id", str(wanted))}
            raise NotFound("not_found", "The body names something that isn't there for you.", errors=errors)
        return found


# Another program's own key for the entry; empty is none.
ExternalReference = Annotated[str | None, Text(100, blank=True, null=True), AfterValidator(lambda given: given or None)]


FIGURE_ENDINGS = ("_kw", "_years", "_h", "_mw")
DAY_ENDING = "_on"
FACTS_MAX = 50


class Facts(AnyObject):
    """What limit sets and interval rules ask about an appliance: words, numbers, yes or no, by name."""

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict) or len(given) > FACTS_MAX:
            raise refused("facts", given, most=FACTS_MAX)
        if errors := {name: said for name, value in given.items() if (said := _unfit(name, value))}:
            raise Refused(errors)
        return {name: float(value) if isinstance(value, Decimal) else value for name, value in given.items()}


def _unfit(name: str, value: Any) -> Coded | None:
    if isinstance(value, dict | list) or value is None or len(str(value)) > 200:
        return wrong("fact", value)
    if isinstance(value, Decimal) and not math.isfinite(float(value)):
        return wrong("number_held", value)
    if name.endswith(FIGURE_ENDINGS) and not isinstance(value, int | Decimal):
        return wrong("number_by_name", value)
    if name.lower().endswith(DAY_ENDING) and not _are_days(value):
        return wrong("days_by_name", value, first=EARLIEST_YEAR, last=LATEST_YEAR)
    return None


def _are_days(value: Any) -> bool:
    days = [day_in(each.strip()) for each in value.split(",")] if isinstance(value, str) else [None]
    return all(day is not None and is_in_reach(day) for day in days)


class Rule(AnyObject):
    """A typed interval rule, as limit sets have them; whether it can be calculated with is checked beyond."""

    def read(self, given: Any, info: ValidationInfo) -> dict[str, Any]:
        if not isinstance(given, dict):
            raise refused("rule", given)
        read: dict[str, Any] = without_decimals(given)
        return read


class VerdictField(serializers.DictField):
    """A verdict as plain data."""

    def to_representation(self, value: Verdict) -> dict[str, Any]:
        return vars(value) | {"sentence": verdict_sentence(value)}
