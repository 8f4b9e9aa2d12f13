"""A row of any table, with whatever else it hangs on: what a test doesn't name is made up, the same kind each time."""

import itertools
from datetime import UTC, date, datetime
from typing import Any, TypeVar

from django.db import models

from fleet.models import CalendarLink, GasSupply, LimitSetAssignment, RequiredCheck, Revisit, StoredFile, User, Visit
from fleet.models.register import new_id

Row = TypeVar("Row", bound=models.Model)
DAY = date(2026, 3, 2)
MOMENT = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
_COUNT = itertools.count(1)
# What a row of these tables can't be made up without.
NEEDED: dict[Any, dict[str, Any]] = {
    User: {"role": "manager"},
    GasSupply: {"fuel": "propane"},
    RequiredCheck: {"source": "contract", "rule": {"type": "max_months", "months": 12}},
    Revisit: {"why": ["flag", {"sentence": "Seen again.", "figures": {}}]},
    Visit: {"fuel": "natural_gas"},
}
# Of these exactly one is named; where a test names none, it is the first.
ONE_OF: dict[Any, tuple[str, ...]] = {
    CalendarLink: ("user", "client"),
    LimitSetAssignment: ("client", "building", "appliance"),
    StoredFile: ("visit", "no_access"),
}
# A moment is a day to Django, so it comes first.
PLAIN: dict[Any, Any] = {
    models.DateTimeField: MOMENT,
    models.DateField: DAY,
    models.BooleanField: False,
    models.FloatField: 0.5,
    models.JSONField: {},
    models.BinaryField: b"{}",
}


def made(table: type[Row], **values: Any) -> Row:
    """A stored row with these values."""
    given = NEEDED.get(table, {}) | values
    if not values.keys() & (one_of := ONE_OF.get(table, ())) and one_of:
        given[one_of[0]] = _made_up(table._meta.get_field(one_of[0]))
    missing = (each for each in table._meta.concrete_fields if each.name not in given and _is_asked_for(each))
    return table._default_manager.create(**{each.name: _made_up(each) for each in missing} | given)


def _is_asked_for(field: Any) -> bool:
    return not (field.null or field.blank or field.has_default() or getattr(field, "auto_now_add", False))


def _made_up(field: Any) -> Any:
    if isinstance(field, models.ForeignKey):
        return made(field.related_model)
    if isinstance(field, models.UUIDField):
        return new_id()
    if isinstance(field, models.CharField | models.TextField):
        return field.choices[0][0] if field.choices else f"x{next(_COUNT)}"
    if isinstance(field, models.IntegerField):
        return next(_COUNT)
    return next(value for kind, value in PLAIN.items() if isinstance(field, kind))
