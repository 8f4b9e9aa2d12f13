"""Who may open a page and who may send its forms; and what a refusal looks like there."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from fleet.errors import Forbidden, NotFound
from fleet.models import User
from fleet.models.roles import ACCESS, NOBODY

READING = ("GET", "HEAD")

View = Callable[..., HttpResponse]


def page(subject: str) -> Callable[[View], View]:
    """A view that those who may see the subject may read, and nobody posts to."""
    return _guard(ACCESS[subject].see, NOBODY)


def form(subject: str) -> Callable[[View], View]:
    """A view that those who may change the subject may read and post to."""
    return _guard(ACCESS[subject].change, ACCESS[subject].change)


def _guard(readers: frozenset[str], writers: frozenset[str]) -> Callable[[View], View]:
    """What a query or service can't find is a page not found, what it forbids a page for another role."""

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


def act(subject: str, *, place: str) -> Callable[[View], View]:
    """An address that only takes forms, of those who may change the subject.

    Opened as a page, after logging in again, it leads to `place`.
    """

    def guard(view: View) -> View:
        guarded = _guard(NOBODY, ACCESS[subject].change)(view)

        @wraps(view)
        def posted(request: HttpRequest, **path: Any) -> HttpResponse:
            return redirect(place) if request.method in READING else guarded(request, **path)

        return posted

    return guard


def viewer_of(request: HttpRequest) -> User:
    """Who is logged in: every page of these rooms asks for that first."""
    return cast(User, request.user)
