"""Who may open a page and who may send its forms; and what a refusal looks like there."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from fleet.errors import Forbidden, NotFound
from fleet.models import Role, User

EVERYBODY = frozenset(Role.values)
OFFICE = frozenset({Role.DISPATCHER, Role.MANAGER})
FIELD = OFFICE | {Role.TECHNICIAN}
READERS_OF_STATEMENTS = OFFICE | {Role.AUDITOR}
NOBODY: frozenset[str] = frozenset()
READING = ("GET", "HEAD")

View = Callable[..., HttpResponse]


def page(*, readers: frozenset[str] = EVERYBODY, writers: frozenset[str] = NOBODY) -> Callable[[View], View]:
    """A view that `readers` may read and `writers` may post to; nobody posts unless named.

    What a query or service can't find is a page not found, what it forbids a page for another role.
    """

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, **path: Any) -> HttpResponse:
            allowed = readers if request.method in READING else writers if request.method == "POST" else NOBODY
            if viewer_of(request).role not in allowed:
                raise PermissionDenied
            try:
                return view(request, **path)
            except NotFound as missing:
                raise Http404 from missing
            except Forbidden as refused:
                raise PermissionDenied from refused

        return guarded

    return guard


def act(*, writers: frozenset[str], place: str) -> Callable[[View], View]:
    """An address that only takes forms. Opened as a page, after logging in again, it leads to `place`."""

    def guard(view: View) -> View:
        guarded = page(writers=writers)(view)

        @wraps(view)
        def posted(request: HttpRequest, **path: Any) -> HttpResponse:
            return redirect(place) if request.method in READING else guarded(request, **path)

        return posted

    return guard


def viewer_of(request: HttpRequest) -> User:
    """Who is logged in: every page of these rooms asks for that first."""
    return cast(User, request.user)
