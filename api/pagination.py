"""Pages by key: each page begins after the last id of the one before, however deep."""

from rest_framework.pagination import CursorPagination


class ByKey(CursorPagination):
    """Oldest first by the time-ordered id; at most 200 a page."""

    ordering = "id"
    page_size_query_param = "page_size"
    max_page_size = 200
