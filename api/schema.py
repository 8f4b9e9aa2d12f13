"""The API described by itself (OpenAPI 3): made from the same shapes, filters and roles that the addresses use."""

from functools import cache
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerFieldExtension
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.plumbing import build_bearer_security_scheme_object
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, inline_serializer
from rest_framework import serializers

from fleet.intake.fields import fields_of, partial_of

_VERBS = {"GET": "read", "POST": "post", "PATCH": "change", "DELETE": "remove"}


class Problem(serializers.Serializer[Any]):
    """RFC 9457. `code` is what programs rely on; `errors` names each wrong field by its path."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    code = serializers.CharField()
    detail = serializers.CharField()
    errors = serializers.DictField(child=serializers.CharField(), required=False)


class Schema(AutoSchema):
    """Reads a Door: its shapes, filters, page parameters and headers."""

    def get_operation_id(self) -> str:
        parts = [each for each in self._tokenize_path() if each]
        verb = "list" if self._lists() else _VERBS[self.method]
        return "_".join([*parts, verb]).replace("-", "_").replace(".", "_")

    def get_tags(self) -> list[str]:
        return [self._tokenize_path()[0]]

    def get_description(self) -> str:
        return str(super().get_description()).strip()

    def _is_list_view(self, serializer: Any = None) -> bool:
        return False

    def _lists(self) -> bool:
        return self.method == "GET" and hasattr(self.view, "page_of_rows")

    def get_override_parameters(self) -> list[Any]:
        queries = [
            OpenApiParameter(each.name, each.schema, OpenApiParameter.QUERY, description=each.words)
            for each in (self.view.filters if self.method == "GET" else ())
        ]
        return queries + self._page_parameters() + self._header_parameters()

    def _page_parameters(self) -> list[Any]:
        if not self._lists():
            return []
        after = "Begin after the row with this id."
        size = {"type": "integer", "minimum": 1, "maximum": 200, "default": 50}
        return [
            OpenApiParameter("after", OpenApiTypes.UUID, OpenApiParameter.QUERY, description=after),
            OpenApiParameter("page_size", size, OpenApiParameter.QUERY, description="Rows a page."),
        ]

    def _header_parameters(self) -> list[Any]:
        if self.method == "POST" and self._takes_id():
            words = "A UUID: the id of what is made, where the body names none. The same again makes no second."
            return [OpenApiParameter("Idempotency-Key", OpenApiTypes.UUID, OpenApiParameter.HEADER, description=words)]
        if self.method != "GET" and self.view.versioned:
            words = "The version read (its ETag). 428 without it, 412 when it has moved on."
            return [
                OpenApiParameter(
                    "If-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, required=True, description=words
                )
            ]
        return []

    def _takes_id(self) -> bool:
        field = fields_of(self.view.shape_in).get("id") if self.view.shape_in else None
        return field is not None and not field.is_required()

    def map_parsers(self) -> list[str]:
        return ["application/json"]

    def get_request_serializer(self) -> Any:
        shape = self.view.shape_in
        return partial_of(shape) if shape and self.method == "PATCH" else shape

    def get_response_serializers(self) -> Any:
        refused = {("default", "application/problem+json"): Problem}
        if self.method == "DELETE":
            return {204: None} | refused
        media_type = self.view.media_type
        if media_type != "application/json":
            return {(200, media_type): OpenApiTypes.BINARY} | refused
        shape = self._page_shape() if self._lists() else self.view.shape_out or OpenApiTypes.OBJECT
        if self.method == "POST":
            shape = self.view.shape_made or self.view.shape_out
        made = {(201, media_type): shape} if self.method == "POST" and self.view.makes else {}
        return {(200, media_type): shape} | made | refused

    def _page_shape(self) -> Any:
        shape = self.view.shape_out
        fields = {"next": serializers.URLField(allow_null=True), "results": shape(many=True)}
        return inline_serializer(f"{shape.__name__.removesuffix('Out')}Page", fields)


class BearerTokenScheme(OpenApiAuthenticationExtension):
    target_class = "api.permissions.BearerToken"
    name = "bearerToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, Any]:
        return dict(build_bearer_security_scheme_object(header_name="Authorization", token_prefix="Bearer"))


class _Said(OpenApiSerializerFieldExtension):
    target_class = "api.fields.Said"

    def map_serializer_field(self, auto_schema: Any, direction: Any) -> dict[str, Any]:
        shape = dict(auto_schema._map_response_type_hint(self.target.say))
        shape.pop("description", None)  # a docstring, written for whoever reads the code
        return shape


@cache
def document() -> dict[str, Any]:
    """The whole description; the code doesn't change while it runs."""
    described: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return described
