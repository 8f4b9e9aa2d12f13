"""Pages by key: each page begins after the last id of the one before, however deep."""

from typing import Any

from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.serializers import ValidationError
from rest_framework.utils.urls import replace_query_param

from api.errors import BadQuery
from api.fields import read_id

PARAMETERS = ("after", "page_size")
USUAL, MOST = 50, 200


class ByKey:
    """Oldest first by the time-ordered id; at most 200 a page."""

    def __init__(self, request: Request) -> None:
        self.request = request

    def page_of(self, rows: QuerySet[Any]) -> tuple[list[Any], str | None]:
        """The page asked for, and the address of the next one where there is more."""
        size, after = self._size(), self.request.query_params.get("after")
        ordered = rows.order_by("id")
        if after is not None:
            ordered = ordered.filter(id__gt=self._id(after))
        found = list(ordered[: size + 1])
        page = found[:size]
        return page, self._next(page[-1].id) if len(found) > size else None

    def _next(self, last: Any) -> str:
        return replace_query_param(self.request.build_absolute_uri(), "after", str(last))

    def _size(self) -> int:
        given = self.request.query_params.get("page_size", str(USUAL))
        if not (given.isascii() and given.isdigit() and len(given) <= 3 and 1 <= int(given) <= MOST):
            raise BadQuery(page_size=f"is {given[:20]!r}; it must be a whole number from 1 to {MOST}")
        return int(given)

    def _id(self, given: str) -> Any:
        try:
            return read_id(given)
        except ValidationError as bad:
            raise BadQuery(after=f"is {given[:60]!r}; it must be the id of a row") from bad
