"""Who may open a page and who may send its forms; and what a refusal looks like there."""

from collections.abc import Callable
from functools import partial, wraps
from typing import Any, cast

from allauth.account.internal.flows.reauthentication import did_recently_reauthenticate
from allauth.core.exceptions import ReauthenticationRequired
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect

from fleet.errors import FleetError, Forbidden, NotFound
from fleet.models import User
from fleet.models.access import ACCESS, Whose, may_change, may_see

READING = ("GET", "HEAD")

View = Callable[..., HttpResponse]
May = Callable[[User], bool]


def page(subject: str, *, instead: Callable[[User], str] | None = None) -> Callable[[View], View]:
    """A view that those who may see the subject may read, and nobody posts to. instead : where others are led who open
    it, by the name of a page."""
    return _guard(subject, partial(may_see, subject=subject), _nobody, instead=instead)


def form(subject: str, *, read: str = "", refused: View | None = None) -> Callable[[View], View]:
    """A view that those who may change the subject may read and post to.

    read : the subject that is enough to read it. refused : the page that a refusal of what was posted is answered
    with, from the request, the refusal and the path.
    """
    may = partial(may_change, subject=subject)
    return _guard(subject, partial(may_see, subject=read) if read else may, may, refused)


def act(subject: str, *, place: str, refused: View | None = None) -> Callable[[View], View]:
    """An address that only takes forms, of those who may change the subject.

    Opened as a page, after logging in again, it leads to `place`. refused : as for a form.
    """

    def guard(view: View) -> View:
        guarded = _guard(subject, _nobody, partial(may_change, subject=subject), refused)(view)

        @wraps(view)
        def posted(request: HttpRequest, **path: Any) -> HttpResponse:
            return redirect(place) if request.method in READING else guarded(request, **path)

        posted.subject = subject  # type: ignore[attr-defined]  # for the table of rights
        return posted

    return guard


def anybody(subject: str) -> Callable[[View], View]:
    """A view that nobody has to log in for."""
    assert ACCESS[subject].whose is Whose.ANYBODY

    def guard(view: View) -> View:
        view.subject = subject  # type: ignore[attr-defined]  # for the table of rights
        return login_not_required(view)

    return guard


def _nobody(_user: User) -> bool:
    return False


def _guard(
    subject: str, may_read: May, may_post: May, refused: View | None = None,
    instead: Callable[[User], str] | None = None,
) -> Callable[[View], View]:  # fmt: skip
    """What a query or service can't find is a page not found, what it forbids a page for another role."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, **path: Any) -> HttpResponse:
            may = may_read if request.method in READING else may_post if request.method == "POST" else _nobody
            if not may(viewer_of(request)):
                if instead and request.method in READING:
                    return redirect(instead(viewer_of(request)))
                raise PermissionDenied
            try:
                return _answered(view, refused, request, path)
            except NotFound as missing:
                raise Http404 from missing
            except Forbidden as forbidden:
                raise PermissionDenied from forbidden

        guarded.subject = subject  # type: ignore[attr-defined]  # for the table of rights
        return guarded

    return guard


def _answered(view: View, refused: View | None, request: HttpRequest, path: dict[str, Any]) -> HttpResponse:
    try:
        return view(request, **path)
    except NotFound:
        raise
    except FleetError as refusal:
        if refused is None or request.method in READING:
            raise
        return refused(request, refusal, **path)


def ask_who_it_is(request: HttpRequest) -> None:
    """Whoever has not shown it in the last minutes is asked once more; what they sent is done after that."""
    if not did_recently_reauthenticate(request):
        raise ReauthenticationRequired


def shown_next(request: HttpRequest, to: str, **said: str) -> HttpResponse:
    """Leads to a page, which shows this once: loading it again makes and shows nothing anew."""
    request.session["shown_next"] = {to: said}
    return redirect(to)


def shown_now(request: HttpRequest) -> dict[str, str]:
    if request.method != "GET" or request.path not in request.session.get("shown_next", {}):
        return {}
    said: dict[str, str] = request.session.pop("shown_next")[request.path]
    return said


def viewer_of(request: HttpRequest) -> User:
    """Who is logged in: every page of these rooms asks for that first."""
    return cast(User, request.user)
