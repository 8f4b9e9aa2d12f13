"""Files of a visit: photos of a plate or a defect, documents. Sent as the bare bytes, given out to who may see them."""

import uuid
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, OneDoor
from api.filters import by_word
from api.schema import Schema
from api.shapes import RowOut
from fleet import clock
from fleet.models import StoredFile
from fleet.queries.records import visible_files
from fleet.queries.visits import visible_visits
from fleet.services.files import LARGEST_BYTES, LONGEST_NAME, store_file

_BYTES = dict.fromkeys(StoredFile.MediaType.values, OpenApiTypes.BINARY)


class BareBytesParser(BaseParser):
    """The bytes as they came; of a body that is too large only so many that it is seen to be."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> bytes:
        sent: bytes = stream.read(LARGEST_BYTES + 1)
        return sent


class FileSchema(Schema):
    """POST takes bytes and says in its query what they are; the content's address answers with bytes."""

    def get_override_parameters(self) -> list[Any]:
        if self.method != "POST":
            return list(super().get_override_parameters())
        what = {"type": "string", "enum": StoredFile.What.values}
        name = {"type": "string", "maxLength": LONGEST_NAME}
        return [
            OpenApiParameter("what", what, required=True, description="What it shows or is."),
            OpenApiParameter("name", name, required=True, description="The file's name."),
        ]

    def get_request_serializer(self) -> Any:
        return _BYTES if self.method == "POST" else None

    def get_response_serializers(self) -> Any:
        answers = dict(super().get_response_serializers())
        if self.view.shape_out is not None:
            return answers
        described = {key: shape for key, shape in answers.items() if key[0] == "default"}
        return {(200, *_BYTES): OpenApiTypes.BINARY} | described


class FileOut(RowOut):
    """`sha256` and `size_bytes` are of the bytes as stored: a photo's without the place where it was taken."""

    row, columns = StoredFile, "id visit what name media_type size_bytes sha256 uploaded_by uploaded_at"

    no_access = serializers.UUIDField(source="no_access_id", allow_null=True, help_text="The attempt that it is of.")


class FilesDoor(ListDoor):
    """Photos and documents of one thing, by the word `of` that a file has for it."""

    parser_classes = (BareBytesParser,)
    schema = FileSchema()
    subject, makes, shape_out = "files", True, FileOut
    filters = (by_word("what", "what", StoredFile.What.values),)
    of: ClassVar[str]

    def rows(self) -> QuerySet[StoredFile]:
        return visible_files(self.viewer).filter(**{self.of: self.whole})

    def known_parameters(self) -> tuple[str, ...]:
        return ("what", "name") if self.request.method == "POST" else super().known_parameters()

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Attach the body, of the media type in Content-Type: 201; the same content and `what` again 200.

        At most 10 MB and 50 megapixels. The place is taken out of photos; a document is kept as it comes.
        """
        sent: Any = request.data
        file, made = store_file(
            **{self.of: self.whole},
            name=request.query_params.get("name", ""),
            media_type=(request.content_type or "").split(";")[0].strip().lower(),
            data=sent if isinstance(sent, bytes) else b"",
            what=request.query_params.get("what", ""),
            actor=self.viewer,
            now=clock.now(),
        )
        return self.shown(file, 201 if made else 200, Location=reverse("api-file", args=[file.id]))


class VisitFiles(FilesDoor):
    """Photos and documents of one visit."""

    query, of = visible_visits, "visit"


class OneFile(OneDoor):
    """One file, without its bytes."""

    subject, query, shape_out = "files", visible_files, FileOut


class FileContent(Door):
    """The bytes themselves; their SHA-256 is the file's, in the header Content-SHA256."""

    subject, query, schema = "files", visible_files, FileSchema()

    def get(self, request: Request, id: uuid.UUID) -> HttpResponseBase:
        file = self.one()
        answer = HttpResponse(file.read_bytes(), content_type=file.media_type)
        is_document = file.media_type == StoredFile.MediaType.PDF
        answer["Content-Disposition"] = content_disposition_header(is_document, file.name) or ""
        answer["Content-SHA256"] = file.sha256
        answer["ETag"] = f'"{file.sha256}"'
        # A browser may keep it for this user but asks each time whether that user may still see it.
        answer["Cache-Control"] = "private, no-cache"
        answer["X-Content-Type-Options"] = "nosniff"
        return get_conditional_response(request._request, etag=answer["ETag"], response=answer) or answer
