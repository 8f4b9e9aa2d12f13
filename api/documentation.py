"""The API's description: as OpenAPI for programs, as one page of ours for people."""

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door
from api.schema import document
from fleet.presentation.sentences import sentences

# Every code that a refusal can carry, in words.
PROBLEMS = sentences("problems")

_METHODS = ("get", "post", "patch", "delete")


class OpenAPI(Door):
    """This description (OpenAPI 3)."""

    subject = "documentation"

    def get(self, request: Request) -> Response:
        return Response(document())


@dataclass(frozen=True)
class Field:
    name: str
    kind: str
    required: bool
    words: str


@dataclass(frozen=True)
class Act:
    method: str
    path: str
    words: str
    parameters: tuple[Field, ...]
    body: str
    answers: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Shape:
    name: str
    words: str
    fields: tuple[Field, ...]


@require_safe
def documentation(request: HttpRequest) -> HttpResponse:
    """For whoever is logged in; made from the same description that programs read."""
    described = document()
    context = {
        "schema": reverse("api-schema"),
        "subjects": _by_subject(described),
        "shapes": _shapes(described),
        "problems": sorted(PROBLEMS.items()),
    }
    return render(request, "api_documentation.html", context)


def _by_subject(described: dict[str, Any]) -> dict[str, list[Act]]:
    subjects: dict[str, list[Act]] = {}
    for path, item in described["paths"].items():
        for method in _METHODS:
            if method in item:
                subjects.setdefault(item[method]["tags"][0], []).append(_act(method, path, item[method]))
    return subjects


def _act(method: str, path: str, operation: dict[str, Any]) -> Act:
    parameters = tuple(
        Field(each["name"], _kind(each["schema"]), each.get("required", False), each.get("description", ""))
        for each in operation.get("parameters", ())
    )
    content = operation.get("requestBody", {}).get("content", {})
    answers = tuple((code, _answer(answer)) for code, answer in operation["responses"].items() if code != "default")
    body = next((_kind(each["schema"]) for each in content.values()), "")
    return Act(method.upper(), path, operation.get("description", ""), parameters, body, answers)


def _answer(answer: dict[str, Any]) -> str:
    return ", ".join(
        _kind(each["schema"]) if media_type == "application/json" else media_type
        for media_type, each in answer.get("content", {}).items()
    )


def _shapes(described: dict[str, Any]) -> list[Shape]:
    return [
        Shape(name, each.get("description", ""), _fields(each))
        for name, each in sorted(described["components"]["schemas"].items())
    ]


def _fields(shape: dict[str, Any]) -> tuple[Field, ...]:
    required = shape.get("required", ())
    return tuple(
        Field(name, _kind(each), name in required, each.get("description", ""))
        for name, each in shape.get("properties", {}).items()
    )


def _kind(schema: dict[str, Any]) -> str:
    """A schema in a few words: string (uuid), list of Target, one of: a, b."""
    if "$ref" in schema:
        return str(schema["$ref"].rsplit("/", 1)[1])
    if several := schema.get("allOf") or schema.get("oneOf") or schema.get("anyOf"):
        return " or ".join(dict.fromkeys(_kind(each) for each in several))
    if "enum" in schema:
        return "one of: " + ", ".join(str(each) for each in schema["enum"])
    if schema.get("type") == "array":
        return f"list of {_kind(schema['items'])}"
    said = schema.get("type", "anything")
    said = said if isinstance(said, str) else " or ".join(said)
    return f"{said} ({schema['format']})" if "format" in schema else said
