"""Long lists in pages by key: each page begins after the last row of the one before, however deep; and files."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.http import HttpResponse, QueryDict

from fleet.web.forms import chosen_id

PAGE_ROWS = 50


@dataclass(frozen=True)
class ListPage:
    """Rows, and the query of the next page; empty where there is none."""

    rows: list[Any]
    following: str

    @property
    def is_empty(self) -> bool:
        return not self.rows


def page_of(rows: QuerySet[Any], query: QueryDict, *, by: str = "", newest_first: bool = False) -> ListPage:
    """The page that `query` asks for by `after`, the id of the last row before it.

    by : a column without NULLs to order by, before the id. An `after` that is no id is NotFound; one that the viewer
    may not see begins at the beginning.
    """
    after_id = chosen_id(query, "after")
    after = rows.filter(pk=after_id).first() if after_id else None
    names = [by, "id"] if by else ["id"]
    ordered = rows.order_by(*(f"-{name}" if newest_first else name for name in names))
    if after is not None:
        ordered = ordered.filter(_beyond(after, by, "lt" if newest_first else "gt"))
    found = list(ordered[: PAGE_ROWS + 1])
    return ListPage(found[:PAGE_ROWS], _following(query, found[PAGE_ROWS - 1]) if len(found) > PAGE_ROWS else "")


def _beyond(row: Model, by: str, side: str) -> Q:
    by_id = Q(**{f"id__{side}": row.pk})
    if not by:
        return by_id
    value = getattr(row, by)
    return Q(**{f"{by}__{side}": value}) | (Q(**{by: value}) & by_id)


def _following(query: QueryDict, last: Model) -> str:
    following = query.copy()
    following["after"] = str(last.pk)
    return following.urlencode()


def as_file(content: bytes, content_type: str, how: str, name: str) -> HttpResponse:
    """how : inline, or attachment, which a browser saves."""
    answer = HttpResponse(content, content_type=content_type)
    answer["Content-Disposition"] = f'{how}; filename="{name}"'
    return answer
