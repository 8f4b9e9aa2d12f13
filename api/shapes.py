"""Shapes at the door: a row's columns as they are, and what every entry of the register has."""

import uuid
from typing import Annotated, Any, ClassVar

from django.db import models
from rest_framework import serializers

from api.fields import ExternalReference
from fleet.intake.fields import LEFT_OUT, Id, Shape, rights_of
from fleet.models import User
from fleet.models.access import may_see

_SHAPES: tuple[tuple[Any, Any], ...] = (
    (models.UUIDField, serializers.UUIDField),
    (models.DateTimeField, serializers.DateTimeField),
    (models.DateField, serializers.DateField),
    (models.BooleanField, serializers.BooleanField),
    (models.FloatField, serializers.FloatField),
    (models.IntegerField, serializers.IntegerField),
    (models.JSONField, serializers.DictField),
    (models.CharField, serializers.CharField),
    (models.TextField, serializers.CharField),
)


class RowOut(serializers.Serializer[Any]):
    # No docstring: it would stand in the API's description under every shape that has none of its own.
    row: ClassVar[type[models.Model]]
    columns: ClassVar[str] = ""
    # Where in what is shown the row stands; empty: it is the row.
    within: ClassVar[str] = ""
    # The shape whose rows say what not every viewer sees.
    told_by: ClassVar[type[Shape] | None] = None
    # The same of what no shape takes: by field the row of the table of rights.
    rights: ClassVar[dict[str, str]] = {}

    def get_fields(self) -> dict[str, Any]:
        """`columns` of `row`, and those of the shapes that it extends, users by name, other things by id; after them
        the declared fields: what needs words or isn't a column."""
        named = [name for shape in reversed(type(self).__mro__) for name in vars(shape).get("columns", "").split()]
        fields = {name: self._shaped(name) for name in named} | super().get_fields()
        for name in self.kept_back().keys() & fields.keys():
            fields[name].required = False
        return fields

    @classmethod
    def kept_back(cls) -> dict[str, str]:
        """By field, of those that not every viewer sees, the row that says who."""
        return (rights_of(cls.told_by) if cls.told_by else {}) | cls.rights

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        for name, row in self.kept_back().items():
            if not may_see(self.context["viewer"], row):
                del shown[name]
        return shown

    def _shaped(self, name: str) -> Any:
        column = self.row._meta.get_field(name)
        source, null = name, {"allow_null": True} if column.null else {}
        if isinstance(column, models.ForeignKey) and column.related_model is not User:
            source, shape = f"{name}_id", serializers.UUIDField
        elif isinstance(column, models.ForeignKey):
            shape = serializers.CharField
        else:
            shape = next(shape for kind, shape in _SHAPES if isinstance(column, kind))
        source = f"{self.within}.{source}" if self.within else source
        return shape(**null, **({} if source == name else {"source": source}))


class EntryIn(Shape):
    id: Annotated[uuid.UUID, Id(help="Made by the caller so that a retry makes no second; else made here.")] = LEFT_OUT
    external_reference: ExternalReference = LEFT_OUT


class EntryOut(RowOut):
    columns = "id external_reference version"
