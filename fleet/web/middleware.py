"""Before any page: a session cookie that can't be one of ours is no session; what a request leaves in the log.

That is its method and path: a query may hold a person's name, and who uses what is nobody's log. The address of a
calendar is its secret, and is left out.
"""

import re
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.dispatch import receiver
from django.http import HttpRequest, HttpResponse
from django_structlog.middlewares import RequestMiddleware
from django_structlog.signals import bind_extra_request_metadata

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


class RequestLog(RequestMiddleware):
    @staticmethod
    def format_request(request: HttpRequest) -> str:
        path = "/calendar/..." if request.path.startswith("/calendar/") else request.path
        return f"{request.method} {path}"


@receiver(bind_extra_request_metadata, sender=RequestLog)
def _leave_out_the_browser(log_kwargs: dict[str, Any], **_given: Any) -> None:
    log_kwargs.pop("user_agent", None)
