"""Every refusal leaves as application/problem+json (RFC 9457) with a code to rely on."""

from typing import Any

import structlog
from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.db import IntegrityError, OperationalError
from django.http import Http404, HttpRequest, JsonResponse
from django.views.decorators.csrf import csrf_exempt
from rest_framework import exceptions
from rest_framework.permissions import SAFE_METHODS
from rest_framework.response import Response
from rest_framework.views import set_rollback

from fleet.coded import Coded
from fleet.errors import FleetError
from fleet.presentation.codes import wrong_text

log = structlog.get_logger()
MEDIA_TYPE = "application/problem+json"
_TITLES = {
    400: "The request can't be read",
    401: "Log in first",
    403: "Not allowed",
    404: "Nothing here",
    405: "Not a thing to do here",
    409: "In conflict with what is stored",
    411: "Say how long it is",
    412: "It has changed since you read it",
    413: "Too long",
    415: "Send application/json",
    422: "The message can't be accepted as it is",
    428: "Say which version you change",
    429: "Too many requests",
    500: "Our fault",
    503: "Busy for a moment",
}
# Where DRF's word for a refusal differs from ours.
_CODES = {
    "permission_denied": "not_allowed",
    "authentication_failed": "not_authenticated",
    "parse_error": "not_json",
    "unsupported_media_type": "media_type",
    "method_not_allowed": "method",
}


class BadQuery(FleetError):
    """Query parameters that aren't known or can't be read, each with what is allowed."""

    def __init__(self, **errors: Coded) -> None:
        super().__init__("bad_query", "Some query parameters can't be read.", errors=errors)


class LengthRequired(FleetError):
    """A body in pieces without its length can't be read here."""

    status = 411

    def __init__(self) -> None:
        super().__init__("length_required", "Send the body in one piece with its Content-Length; nothing was kept.")


class VersionMissing(FleetError):
    status = 428

    def __init__(self) -> None:
        super().__init__(
            "version_missing", 'Give the version you read in If-Match, such as "3"; it is the entry\'s ETag.'
        )


def problem(exc: Exception, context: dict[str, Any]) -> Response:
    """DRF's exception handler: one shape for all."""
    request = context.get("request")
    body, headers = _described(exc, reading=request is not None and request.method in SAFE_METHODS)
    set_rollback()
    return Response(body, status=int(body["status"]), headers=headers, content_type=MEDIA_TYPE)


def _described(exc: Exception, *, reading: bool) -> tuple[dict[str, Any], dict[str, str]]:
    if isinstance(exc, FleetError):
        errors = {path: wrong_text(said) for path, said in exc.errors.items()}
        more = ({"errors": errors} if errors else {}) | exc.details
        return _body(_status_of(exc, reading), exc.code, exc.message, **more), {}
    if isinstance(exc, exceptions.APIException):
        code = str(exc.get_codes())
        return _body(exc.status_code, _CODES.get(code, code), str(exc.detail)), _headers(exc)
    if isinstance(exc, OperationalError) and "lock" in str(exc):
        log.warning("api_busy", error=str(exc)[:200])
        return _body(503, "busy", "Somebody else is writing; nothing was changed. Try again."), {"Retry-After": "2"}
    for kind, status, code, detail in _OTHERS:
        if isinstance(exc, kind):
            return _body(status, code, detail), {}
    log.exception("api_failed", exc_info=exc)
    return _body(500, "our_fault", "Something went wrong here; it is logged. Nothing was changed."), {}


_OTHERS: tuple[tuple[type[Exception], int, str, str], ...] = (
    (Http404, 404, "not_found", "There is nothing here that you may see."),
    (PermissionDenied, 403, "not_allowed", "Your role or token may not do this."),
    (IntegrityError, 409, "conflict", "It conflicts with something already stored."),
    (RequestDataTooBig, 413, "too_long", "The body is too long; nothing was kept."),
    (SuspiciousOperation, 400, "bad_request", "The request can't be read."),
)


def _status_of(exc: FleetError, reading: bool) -> int:
    """A version that has moved on is a failed precondition here; bad values are the query's or the body's."""
    if exc.code == "changed_meanwhile":
        return 412
    if exc.code == "invalid" and not reading:
        return 422
    return exc.status


def _headers(exc: exceptions.APIException) -> dict[str, str]:
    headers = {"WWW-Authenticate": header} if (header := getattr(exc, "auth_header", None)) else {}
    if (wait := getattr(exc, "wait", None)) is not None:
        headers["Retry-After"] = str(int(wait))
    return headers


def _body(status: int, code: str, detail: str, **more: Any) -> dict[str, Any]:
    return {
        "type": f"/api/v1/documentation#problem-{code}",
        "title": _TITLES.get(status, "Refused"),
        "status": status,
        "code": code,
        "detail": detail,
        **more,
    }


def as_response(status: int, code: str, detail: str) -> JsonResponse:
    """The same shape outside DRF: unknown paths and server faults under /api/."""
    return JsonResponse(_body(status, code, detail), status=status, content_type=MEDIA_TYPE)


@csrf_exempt
@login_not_required
def unknown_path(request: HttpRequest, *_args: Any, **_kwargs: Any) -> JsonResponse:
    """Any path under /api/ that isn't one of ours, logged in or not."""
    return as_response(404, "not_found", "There is nothing at this address.")
