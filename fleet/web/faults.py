"""A fault of ours: problem+json under /api/, a plain page elsewhere."""

from django.http import HttpRequest, HttpResponse
from django.views.defaults import server_error

from api.errors import as_response


def server_fault(request: HttpRequest) -> HttpResponse:
    if request.path.startswith("/api/"):
        return as_response(500, "fault", "The fault is ours and has been logged; nothing was half-written.")
    return server_error(request)
