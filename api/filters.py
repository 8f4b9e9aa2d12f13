"""What a list can be narrowed by, and its pages. Parameters that aren't known are refused: a misspelt filter must not
vanish."""

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import islice
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param

from api.errors import BadQuery
from fleet.coded import coded, wrong
from fleet.errors import Forbidden, NotFound
from fleet.intake.fields import ERRORS_MAX, Refused, read_day, read_id, refused
from fleet.models import User
from fleet.models.access import may_see
from fleet.queries.access import visible_clients
from fleet.queries.buildings import visible_buildings
from fleet.queries.register import visible_appliances

PAGE_PARAMETERS = ("after", "page_size")
USUAL_ROWS, MOST_ROWS = 50, 200


@dataclass(frozen=True)
class Filter:
    """One query parameter: `narrow(viewer, text)` gives the condition, or raises Refused."""

    name: str
    words: str
    narrow: Callable[[User, str], Q]
    schema: dict[str, Any] = field(default_factory=lambda: {"type": "string"})


def narrowed(rows: QuerySet[Any], filters: Sequence[Filter], request: Request, viewer: User) -> QuerySet[Any]:
    """The rows that every given filter keeps. Raises BadQuery, and NotFound for an id the viewer may not see."""
    for each in filters:
        if (text := request.query_params.get(each.name)) is not None:
            rows = rows.filter(_condition(each, viewer, text))
    return rows


def _condition(one: Filter, viewer: User, text: str) -> Q:
    try:
        return one.narrow(viewer, text)
    except Refused as bad:
        raise BadQuery(**{one.name: bad.errors[""]}) from bad


def page_of(rows: QuerySet[Any], request: Request) -> tuple[list[Any], str | None]:
    """The page asked for, oldest first by the time-ordered id, and the address of the next one where there is more.

    Each page begins after the last id of the one before, however deep. Raises BadQuery.
    """
    given = request.query_params.get("page_size", str(USUAL_ROWS))
    if not (given.isascii() and given.isdigit() and len(given) <= 3 and 1 <= int(given) <= MOST_ROWS):
        raise BadQuery(page_size=wrong("whole_between", given, low=1, high=MOST_ROWS))
    size, after, ordered = int(given), request.query_params.get("after"), rows.order_by("id")
    if after is not None:
        try:
            ordered = ordered.filter(id__gt=read_id(after))
        except Refused as bad:
            raise BadQuery(after=wrong("id_of_row", after)) from bad
    found = list(ordered[: size + 1])
    if len(found) <= size:
        return found, None
    return found[:size], replace_query_param(request.build_absolute_uri(), "after", str(found[size - 1].id))


def check_known(request: Request, known: Sequence[str]) -> None:
    """Raises BadQuery for a parameter that isn't known or is given twice."""
    given = list(request.query_params.lists())
    unknown = {name: coded("unknown", known=list(known)) for name, _values in given if name not in known}
    twice = {
        name: coded("given_often", times=len(values)) for name, values in given if name in known and len(values) > 1
    }
    if unknown or twice:
        raise BadQuery(**dict(islice((unknown | twice).items(), ERRORS_MAX)))


def by_id(name: str, column: str, query: Callable[[User], QuerySet[Any]]) -> Filter:
    """Only rows of one thing that the viewer may see."""

    def narrow(viewer: User, text: str) -> Q:
        wanted = read_id(text)
        if not query(viewer).filter(id=wanted).exists():
            errors = {name: wrong("nothing_of_this_id", str(wanted))}
            raise NotFound("not_found", "The query names something that isn't there for you.", errors=errors)
        return Q(**{column: wanted})

    schema = {"type": "string", "format": "uuid"}
    return Filter(name, f"Only of this {name.replace('_', ' ')}.", narrow, schema)


def by_word(name: str, column: str, words: Sequence[str], under: str = "") -> Filter:
    """under : the row of the table of rights of what it narrows by, where not everybody sees that."""

    def narrow(viewer: User, text: str) -> Q:
        if under and not may_see(viewer, under):
            raise Forbidden("not_allowed", "What this narrows by isn't shown to you.")
        if text not in words:
            raise refused("one_of", text, allowed=list(words))
        return Q(**{column: text})

    return Filter(name, "Only these.", narrow, {"type": "string", "enum": list(words)})


def by_text(name: str, column: str) -> Filter:
    def narrow(_viewer: User, text: str) -> Q:
        if "\x00" in text:
            raise Refused({"": coded("nul")})
        return Q(**{column: text})

    return Filter(name, "Exactly this.", narrow)


def by_day(name: str, column: str, words: str) -> Filter:
    def narrow(_viewer: User, text: str) -> Q:
        return Q(**{column: read_day(text)})

    return Filter(name, words, narrow, {"type": "string", "format": "date"})


def yes_no(name: str, condition: Q, words: str) -> Filter:
    """true keeps the rows that meet `condition`, false the others."""

    def narrow(_viewer: User, text: str) -> Q:
        if text not in ("true", "false"):
            raise refused("yes_no", text)
        return condition if text == "true" else ~condition

    return Filter(name, words, narrow, {"type": "boolean"})


def parameter(name: str, words: str, format: str = "") -> Filter:
    """A query parameter that the view reads for itself: known and described here, narrowing nothing."""
    schema = {"type": "string"} | ({"format": format} if format else {})
    return Filter(name, words, lambda _viewer, _text: Q(), schema)


def id_of(request: Request, name: str) -> uuid.UUID | None:
    """An id that the query may give. Raises BadQuery."""
    given = request.query_params.get(name)
    try:
        return None if given is None else read_id(given)
    except Refused as bad:
        raise BadQuery(**{name: bad.errors[""]}) from bad


def day_of(request: Request, name: str) -> date:
    """A day that the query must give. Raises BadQuery."""
    try:
        return read_day(request.query_params.get(name))
    except Refused as bad:
        raise BadQuery(**{name: bad.errors[""]}) from bad


EXTERNAL_REFERENCE = by_text("external_reference", "external_reference")


def of_building(path: str) -> tuple[Filter, Filter]:
    """Filters client and building, for rows whose building is at `path`."""
    return (by_id("client", f"{path}__client", visible_clients), by_id("building", path, visible_buildings))


def of_appliance(path: str = "appliance") -> tuple[Filter, Filter, Filter]:
    """Filters client, building and appliance, for rows whose appliance is at `path`."""
    return (*of_building(f"{path}__building"), by_id("appliance", path, visible_appliances))
