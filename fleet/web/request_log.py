"""Each request's log lines: method and path. A query may hold a person's name, and who uses what is nobody's log.

The address of a calendar is its secret, and is left out.
"""

from typing import Any

from django.dispatch import receiver
from django.http import HttpRequest
from django_structlog.middlewares import RequestMiddleware
from django_structlog.signals import bind_extra_request_metadata


class RequestLog(RequestMiddleware):
    @staticmethod
    def format_request(request: HttpRequest) -> str:
        path = "/calendar/..." if request.path.startswith("/calendar/") else request.path
        return f"{request.method} {path}"


@receiver(bind_extra_request_metadata, sender=RequestLog)
def _leave_out_the_browser(log_kwargs: dict[str, Any], **_given: Any) -> None:
    log_kwargs.pop("user_agent", None)
