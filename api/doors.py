"""What every address of the API shares: who may come in, what is read, what is shown, and by which version.

A view names its `subject` (of the table of roles), `shape_in`, `shape_out` and `filters`; permission, strictness,
pages, versions and the schema follow from these.
"""

import uuid
from typing import Any, ClassVar, cast

from django.db import transaction
from django.db.models import Model, QuerySet
from rest_framework.authentication import SessionAuthentication
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer, ValidationError
from rest_framework.views import APIView

from api.errors import BadQuery, LengthRequired
from api.fields import read_id
from api.filters import Filter, check_known, narrowed
from api.pagination import PARAMETERS, ByKey
from api.permissions import BearerToken, ByRole
from api.schema import Schema
from api.versions import etag, version_named
from fleet.errors import FleetError, NotFound
from fleet.intake.fields import StrictSerializer
from fleet.models import User
from fleet.services.register import change_entry, create_entry, create_once


class AlwaysJSON(DefaultContentNegotiation):
    """Whatever the caller would accept: answers are JSON, files are what their address says."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        return JSONRenderer(), JSONRenderer.media_type


class Door(APIView):
    """One address. Who may see its `subject` may read, who may change it everything else; without one nobody."""

    authentication_classes = (BearerToken, SessionAuthentication)
    permission_classes: Any = (ByRole,)
    content_negotiation_class = AlwaysJSON
    metadata_class: Any = None
    schema = Schema()

    subject: ClassVar[str] = ""
    shape_in: ClassVar[type[StrictSerializer] | None] = None
    shape_out: ClassVar[type[BaseSerializer[Any]] | None] = None
    # What POST answers, where that is more than what GET shows.
    shape_made: ClassVar[type[BaseSerializer[Any]] | None] = None
    filters: ClassVar[tuple[Filter, ...]] = ()
    media_type: ClassVar[str] = "application/json"
    # POST makes something (201) or acts on it (200); acts and changes name a version where the thing has one.
    makes: ClassVar[bool] = False
    versioned: ClassVar[bool] = False

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.META.get("HTTP_TRANSFER_ENCODING") and not request.META.get("CONTENT_LENGTH"):
            raise LengthRequired
        check_known(request, self.known_parameters())

    def known_parameters(self) -> tuple[str, ...]:
        return tuple(each.name for each in self.filters) if self.request.method in ("GET", "HEAD") else ()

    @property
    def viewer(self) -> User:
        return cast(User, self.request.user)

    def body(self) -> dict[str, Any]:
        """The body as it came, which must be an object. Raises ValidationError."""
        body: Any = self.request.data
        if not isinstance(body, dict):
            raise ValidationError({"body": f"is {repr(body)[:60]}; it must be an object"})
        return dict(body)

    def taken(self, *, partial: bool = False) -> dict[str, Any]:
        """What the body says, checked by `shape_in`. Raises ValidationError."""
        assert self.shape_in is not None
        reader = self.shape_in(data=self.body(), partial=partial, context={"viewer": self.viewer})
        reader.is_valid(raise_exception=True)
        return dict(reader.validated_data)

    def shown(self, thing: Any, status: int = 200, **headers: str) -> Response:
        """The thing in the shape of this address, with its version as ETag."""
        assert self.shape_out is not None
        data = self.shape_out(thing, context=self.shape_context()).data
        if isinstance(data, dict) and isinstance(data.get("version"), int):
            headers["ETag"] = etag(data["version"])
        return Response(data, status=status, headers=headers)

    def shape_context(self) -> dict[str, Any]:
        return {"viewer": self.viewer, "request": self.request}


class ListDoor(Door):
    """A page of `rows()`, narrowed by `filters`."""

    def rows(self) -> QuerySet[Any]:
        raise NotImplementedError

    def known_parameters(self) -> tuple[str, ...]:
        known = super().known_parameters()
        return (*known, *PARAMETERS) if self.request.method in ("GET", "HEAD") else known

    def get(self, request: Request, **_path: Any) -> Response:
        assert self.shape_out is not None
        page, following = self.page_of_rows()
        shaped = self.shape_out(page, many=True, context=self.shape_context())
        return Response({"next": following, "results": shaped.data})

    def page_of_rows(self) -> tuple[list[Any], str | None]:
        rows = narrowed(self.rows(), self.filters, self.request, self.viewer)
        return ByKey(self.request).page_of(rows)


class EntryListDoor(ListDoor):
    """A list of the register: POST makes an entry, once per id."""

    makes = True
    model: ClassVar[type[Model]]

    def post(self, request: Request, **_path: Any) -> Response:
        """Make one: 201; the same id with the same content again 200; with other content 409."""
        values = self.values()
        with transaction.atomic():
            # What its manufacturer couldn't see isn't made: a retry would only make another.
            entry, made = create_once(known=self.rows(), model=self.model, values=values, create=self.create)
            stored = found(self.rows(), entry.pk)
        return self.shown(stored, 201 if made else 200, Location=f"{request.path}/{entry.pk}")

    def values(self) -> dict[str, Any]:
        return named_once(self.request, self.taken())

    def create(self, values: dict[str, Any]) -> Model:
        return create_entry(model=self.model, values=values)


class EntryDoor(Door):
    """One entry of the register: GET it, PATCH it by the version it was read at."""

    versioned = True
    # What stands once and for all with the entry.
    fixed: ClassVar[tuple[str, ...]] = ("id",)

    def rows(self) -> QuerySet[Any]:
        raise NotImplementedError

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(found(self.rows(), id))

    def patch(self, request: Request, id: uuid.UUID) -> Response:
        """Change the fields given, by the version you read."""
        entry = found(self.rows(), id)
        version = version_named(request)
        changes = self.taken(partial=True)
        if wrong := {name: "can't be changed once it stands" for name in changes if name in self.fixed}:
            raise FleetError("invalid", "Some fields can't be changed.", errors=wrong)
        self.change(entry, version, changes)
        return self.shown(found(self.rows(), id))

    def change(self, entry: Any, version: int, changes: dict[str, Any]) -> Any:
        return change_entry(entry=entry, version=version, changes=changes)


def found(rows: QuerySet[Any], id: uuid.UUID) -> Any:
    """The row with this id among what the viewer may see. Raises NotFound."""
    row = rows.filter(id=id).first()
    if row is None:
        raise NotFound("not_found", "There is nothing here that you may see.")
    return row


def named_once(request: Request, values: dict[str, Any]) -> dict[str, Any]:
    """The values with their id: the body's own, else the Idempotency-Key's, which must be a UUID; else none."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return values
    try:
        wanted = read_id(key.strip().strip('"'))
    except ValidationError as bad:
        said = f"is {key[:60]!r}; here it must be a UUID: it becomes the id of what is made"
        raise BadQuery(**{"Idempotency-Key": said}) from bad
    if values.setdefault("id", wanted) != wanted:
        raise BadQuery(**{"Idempotency-Key": f"is {wanted}; the body's id is {values['id']}"})
    return values
