"""What is refused before anything is read or written: what isn't there for the viewer, a field, a day that lies ahead,
what was changed meanwhile."""

import uuid
from datetime import date, datetime
from typing import TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.utils import timezone

from fleet.coded import Coded, coded, wrong
from fleet.errors import Conflict, FleetError, NotFound
from fleet.models import Appliance, Visit

Row = TypeVar("Row", bound=models.Model)


def found(
    rows: models.QuerySet[Row], id: uuid.UUID | None, or_else: str = "There is nothing here that you may see."
) -> Row:
    """The row of this id among those that the viewer may see. Raises NotFound, which says `or_else`."""
    row = rows.filter(pk=id).first()
    if row is None:
        raise NotFound("not_found", or_else)
    return row


def check_entry(entry: models.Model) -> None:
    """Every field of an unsaved row. Raises FleetError `invalid` naming each that can't be accepted."""
    try:
        entry.full_clean(validate_unique=True)
    except ValidationError as bad:
        _refuse_taken(bad)
        errors = {name: _said(name, said[0]) for name, said in bad.error_dict.items()}
        raise FleetError("invalid", "Some fields can't be accepted.", errors=errors) from bad


# What Django calls by a code of its own, where ours says the same.
_OURS = {"null": "missing", "blank": "blank"}


def _said(name: str, bad: ValidationError) -> Coded:
    """What a column or its row refuses; what Django itself refuses has `row_` before its code."""
    if bad.code is None:
        return coded("as_said", said=" ".join(bad.messages))
    if (name, bad.code) == ("username", "invalid"):
        return wrong("username", (bad.params or {}).get("value"))
    held = (str, int, float, list)
    params = {name: value if isinstance(value, held) else str(value) for name, value in (bad.params or {}).items()}
    return coded(_OURS.get(bad.code, f"row_{bad.code}") if bad.message else bad.code, **params)


def password_fault(bad: ValidationError) -> Coded:
    """The first that is wrong with a password, by the code of its rule."""
    first = bad.error_list[0]
    params = {name: each for name, each in (first.params or {}).items() if isinstance(each, int)}
    return coded(str(first.code), **params)


def _refuse_taken(bad: ValidationError) -> None:
    """In words that say nothing of the entry which has the reference: it may be another client's."""
    if any(each.code == "unique" for each in bad.error_dict.get("external_reference", ())):
        errors = {"external_reference": coded("reference_taken")}
        raise Conflict("reference_taken", "This reference can't be used.", errors=errors) from bad


def refuse_overtaken(based_on: int | None, newest: int) -> None:
    """Two people may change one sheet or set at once: whoever comes second must see the first one's version."""
    if based_on is not None and based_on != newest:
        said = f"It was made from version {based_on}; the newest is version {newest}. Nothing was recorded."
        raise Conflict("changed_meanwhile", said)


def refuse_retiring_ahead(retired_on: date | None, now: datetime) -> None:
    """Retiring is recorded when it has come: until then the entry may be given to others."""
    today = timezone.localtime(now).date()  # the office's
    if retired_on and retired_on > today:
        errors = {"retired_on": wrong("not_ahead", retired_on, today_on=today)}
        raise FleetError("invalid", "The day lies ahead.", errors=errors)


def refuse_ahead(until: date | None, today: date) -> None:
    """An end is recorded when it has come: a required check that still stands must not vanish from the lists before."""
    if until and until > today:
        errors = {"until": wrong("not_ahead", until, today_on=today)}
        raise FleetError("invalid", "The end lies ahead.", errors=errors)


def refuse_days_without_visit(appliance: Appliance, field: str, without: models.Q) -> None:
    """It was in service on each day on which it was tested: `without` them these visits would leave the statements.

    field : the one that names the day which is wrong.
    """
    tested = Visit.objects.filter(appliance=appliance).exclude(outcome=Visit.Outcome.NOT_TESTED)
    if (visit := tested.filter(without).order_by("local_date").last()) is not None:
        errors = {field: coded("visited_then", visited_on=visit.local_date)}
        raise FleetError("invalid", "It was tested when it would not have been in service.", errors=errors)
