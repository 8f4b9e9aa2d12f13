"""What every address of the API shares: who may come in, what is read, what is shown, and by which version.

A view names its `subject` (of the table of roles), `query`, `shape_in`, `shape_out` and `filters`; permission,
strictness, pages, versions and the schema follow from these.
"""

import re
import uuid
from collections.abc import Callable
from functools import cached_property
from typing import Any, ClassVar, cast

from django.db import transaction
from django.db.models import Model, QuerySet
from rest_framework.authentication import SessionAuthentication
from rest_framework.negotiation import DefaultContentNegotiation
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from api.errors import BadQuery, LengthRequired, VersionMissing
from api.filters import PAGE_PARAMETERS, Filter, check_known, narrowed, page_of
from api.permissions import BearerToken, ByRole
from api.schema import Schema
from fleet.assess.refusals import found
from fleet.coded import coded, wrong
from fleet.errors import FleetError
from fleet.intake.fields import Refused, Shape, read_id, read_shape, without_decimals
from fleet.models import User
from fleet.models.register import new_id
from fleet.services.records import record_once
from fleet.services.register import change_entry, create_entry, create_once

_VERSION = re.compile(r'"([0-9]{1,9})"|([0-9]{1,9})')
# What is shown once is kept by no cache.
NO_STORE = {"Cache-Control": "no-store"}


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
    # What the viewer may see, among which the one that the address names stands.
    query: ClassVar[Callable[[User], QuerySet[Any]]]
    shape_in: ClassVar[type[Shape] | None] = None
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

    def visible(self) -> QuerySet[Any]:
        return type(self).query(self.viewer)

    def one(self) -> Any:
        """What the address names, among what the viewer may see. Raises NotFound."""
        return found(self.visible(), self.kwargs["id"])

    @cached_property
    def whole(self) -> Any:
        """The same, as it stood when the request came."""
        return self.one()

    def body(self) -> dict[str, Any]:
        """The body as it came, which must be an object. Raises FleetError `invalid`."""
        body: Any = self.request.data
        if not isinstance(body, dict):
            raise FleetError("invalid", "Some fields can't be accepted.", errors={"body": wrong("object", body)})
        return dict(body)

    def taken(self, *, partial: bool = False) -> dict[str, Any]:
        """What the body says, read by `shape_in`. Raises FleetError `invalid`."""
        assert self.shape_in is not None
        return read_shape(self.shape_in, self.request.data, partial=partial, viewer=self.viewer)

    def shown(self, thing: Any, status: int = 200, *, shape: Any = None, **headers: str) -> Response:
        """The thing in the shape of this address, or the one given, with its version as ETag."""
        data = (shape or self.shape_out)(thing, context=self.shape_context()).data
        if isinstance(data, dict) and isinstance(data.get("version"), int):
            headers["ETag"] = etag(data["version"])
        return Response(data, status=status, headers=headers)

    def shape_context(self) -> dict[str, Any]:
        return {"viewer": self.viewer, "request": self.request}


class ListDoor(Door):
    """A page of `rows()`, narrowed by `filters`."""

    # Of the one that the address names, what it calls them; empty: all that `query` finds.
    parts: ClassVar[str] = ""

    def rows(self) -> QuerySet[Any]:
        rows: QuerySet[Any] = getattr(self.whole, self.parts).all() if self.parts else self.visible()
        return rows

    def known_parameters(self) -> tuple[str, ...]:
        known = super().known_parameters()
        return (*known, *PAGE_PARAMETERS) if self.request.method in ("GET", "HEAD") else known

    def get(self, request: Request, **_path: Any) -> Response:
        assert self.shape_out is not None
        page, following = self.page_of_rows()
        shaped = self.shape_out(page, many=True, context=self.shape_context())
        return Response({"next": following, "results": shaped.data})

    def page_of_rows(self) -> tuple[list[Any], str | None]:
        return page_of(narrowed(self.rows(), self.filters, self.request, self.viewer), self.request)


class RecordedDoor(ListDoor):
    """A list of what is recorded, never edited. POST records one, once per id, whoever retries."""

    makes = True
    kind: ClassVar[str]
    # The record's word for what these are parts of.
    of: ClassVar[str] = ""

    def post(self, request: Request, **_path: Any) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409."""
        rows = self.rows()
        belongs = {self.of: str(self.whole.id)} if self.of else {}
        values = named_once(request, self.taken())
        id = values.pop("id", None) or new_id()
        content: dict[str, Any] = without_decimals(values)
        row, made = record_once(
            kind=self.kind, id=id, model=rows.model, says=belongs | content, add=lambda: self.record(id, content)
        )
        return self.shown(row, 201 if made else 200)

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> Model:
        """The row recorded under this id; each address has its own way."""
        raise NotImplementedError


class MakeDoor(Door):
    """POST makes an entry of the register, once per id."""

    makes = True

    def post(self, request: Request, **path: Any) -> Response:
        if path:
            _ = self.whole  # not found goes before what is wrong with the body
        values, known = self.values(), self.visible()
        with transaction.atomic():
            # What whoever makes it couldn't see isn't made: a retry would only make another.
            entry, made = create_once(known=known, model=known.model, values=values, create=self.create)
            stored = found(known, entry.pk)
        return self.shown(stored, 201 if made else 200)

    def values(self) -> dict[str, Any]:
        return named_once(self.request, self.taken())

    def create(self, values: dict[str, Any]) -> Model:
        return create_entry(model=self.visible().model, values=values)


class EntryListDoor(MakeDoor, ListDoor):
    """A list of the register, to which POST adds."""

    def post(self, request: Request, **path: Any) -> Response:
        """Make one: 201; the same id with the same content again 200; with other content 409."""
        answer = super().post(request, **path)
        answer["Location"] = f"{request.path}/{answer.data['id']}"
        return answer


class OneDoor(Door):
    """One thing, shown."""

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(self.one())


class ActDoor(Door):
    """Something done to one thing: POST does it, by the version read and what the body says."""

    def post(self, request: Request, id: uuid.UUID) -> Response:
        thing = self.one()
        version = version_named(request) if self.versioned else 0
        done = self.act(thing, version, self.taken() if self.shape_in else {})
        return self.shown(done or self.one())

    def act(self, thing: Any, version: int, said: dict[str, Any]) -> Any:
        """What is shown of it; None: the thing as it stands now."""
        raise NotImplementedError


class EntryDoor(OneDoor):
    """One entry of the register: GET it, PATCH it by the version it was read at."""

    versioned = True
    # What stands once and for all with the entry.
    fixed: ClassVar[tuple[str, ...]] = ("id",)

    def patch(self, request: Request, id: uuid.UUID) -> Response:
        """Change the fields given, by the version you read."""
        entry = self.one()
        version = version_named(request)
        changes = self.taken(partial=True)
        if fixed := {name: coded("stands_for_good") for name in changes if name in self.fixed}:
            raise FleetError("invalid", "Some fields can't be changed.", errors=fixed)
        self.change(entry, version, changes)
        return self.shown(self.one())

    def change(self, entry: Any, version: int, changes: dict[str, Any]) -> Any:
        return change_entry(entry=entry, version=version, changes=changes)


def named_once(request: Request, values: dict[str, Any]) -> dict[str, Any]:
    """The values with their id: the body's own, else the Idempotency-Key's, which must be a UUID; else none."""
    key = request.headers.get("Idempotency-Key")
    if key is None:
        return values
    try:
        wanted = read_id(key.strip().strip('"'))
    except Refused as bad:
        raise BadQuery(**{"Idempotency-Key": wrong("key_is_uuid", key)}) from bad
    if values.setdefault("id", wanted) != wanted:
        raise BadQuery(**{"Idempotency-Key": coded("key_and_id", value=str(wanted), id=str(values["id"]))})
    return values


def etag(version: int) -> str:
    return f'"{version}"'


def version_named(request: Request) -> int:
    """The version that the caller's change is based on (RFC 9110), so that no change is lost unseen.

    Raises VersionMissing (RFC 6585), BadQuery.
    """
    given = request.headers.get("If-Match")
    if given is None:
        raise VersionMissing
    match = _VERSION.fullmatch(given.strip())
    if match is None:
        raise BadQuery(**{"If-Match": wrong("one_version", given)})
    return int(match[1] or match[2])
