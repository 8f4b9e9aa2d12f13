"""A session cookie that can't be one of ours is no session."""

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse

_KEY = re.compile(r"[a-z0-9]{8,64}")


class SessionCookie:
    """Stands before the session's own middleware: strange text, such as a NUL, never reaches the database."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.COOKIES.get(settings.SESSION_COOKIE_NAME)
        if given is not None and not _KEY.fullmatch(given):
            del request.COOKIES[settings.SESSION_COOKIE_NAME]
        return self.get_response(request)
