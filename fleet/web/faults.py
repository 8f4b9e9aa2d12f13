"""What can't be read, and a fault of ours: problem+json under /api/, a plain page elsewhere."""

from django.http import HttpRequest, HttpResponse
from django.views.defaults import bad_request, server_error

from api.errors import as_response


def not_understood(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Refused before any view, such as a host that isn't ours."""
    if request.path.startswith("/api/"):
        return as_response(400, "bad_request", "The request can't be read.")
    return bad_request(request, exception)


def server_fault(request: HttpRequest) -> HttpResponse:
    if request.path.startswith("/api/"):
        return as_response(500, "our_fault", "The fault is ours and has been logged; nothing was half-written.")
    return server_error(request)
