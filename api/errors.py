"""Every refusal leaves as application/problem+json (RFC 9457) with a code to rely on."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError
from django.http import Http404, JsonResponse
from rest_framework import exceptions
from rest_framework.response import Response
from rest_framework.views import set_rollback

from fleet.errors import FleetError
from fleet.intake.errors import flat_errors

MEDIA_TYPE = "application/problem+json"
_TITLES = {
    400: "The request can't be read",
    401: "Log in first",
    403: "Not allowed",
    404: "Nothing here",
    405: "Not a thing to do here",
    409: "In conflict with what is stored",
    412: "It has changed since you read it",
    415: "Send application/json",
    422: "The message can't be accepted as it is",
    428: "Say which version you change",
    429: "Too many requests",
    500: "Our fault",
}


def problem(exc: Exception, _context: Any) -> Response | None:
    """DRF's exception handler: one shape for all."""
    body, headers = _described(exc)
    if body is None:
        return None
    set_rollback()
    return Response(body, status=int(body["status"]), headers=headers, content_type=MEDIA_TYPE)


def _described(exc: Exception) -> tuple[dict[str, Any] | None, dict[str, str]]:
    if isinstance(exc, FleetError):
        return _body(exc.status, exc.code, exc.message, **exc.details), {}
    if isinstance(exc, Http404):
        return _body(404, "not_found", "There is nothing here that you may see."), {}
    if isinstance(exc, PermissionDenied):
        return _body(403, "not_allowed", "Your role may not do this."), {}
    if isinstance(exc, IntegrityError):
        return _body(409, "conflict", "It conflicts with something already stored."), {}
    if isinstance(exc, exceptions.ValidationError):
        return _body(400, "invalid", "Some fields can't be accepted.", errors=flat_errors(exc.detail)), {}
    if isinstance(exc, exceptions.APIException):
        headers = {"WWW-Authenticate": header} if (header := getattr(exc, "auth_header", None)) else {}
        if (wait := getattr(exc, "wait", None)) is not None:
            headers["Retry-After"] = str(int(wait))
        return _body(exc.status_code, str(exc.get_codes()), str(exc.detail)), headers
    return None, {}


def _body(status: int, code: str, detail: str, **more: Any) -> dict[str, Any]:
    title = _TITLES.get(status, "Refused")
    return {
        "type": f"/api/v1/problems/{code}",
        "title": title,
        "status": status,
        "code": code,
        "detail": detail,
        **more,
    }


def as_response(status: int, code: str, detail: str) -> JsonResponse:
    """The same shape outside DRF: unknown paths and server faults under /api/."""
    return JsonResponse(_body(status, code, detail), status=status, content_type=MEDIA_TYPE)
