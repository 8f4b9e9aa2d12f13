"""Photos and documents at the door: sent as bare bytes, given out to whoever may see the visit, and to nobody else."""

import hashlib
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from api.schema import document
from fleet.models import StoredFile, User, Visit
from fleet.models.register import new_id
from tests import cast, pictures
from tests.api.conftest import Door

JPEG, PNG, PDF = "image/jpeg", "image/png", "application/pdf"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Any) -> Path:
    settings.MEDIA_ROOT = tmp_path / "files"
    return tmp_path / "files"


@pytest.fixture
def visit(body: dict[str, Any], technician: User) -> Visit:
    return cast.store(body, technician)


def send(
    client: APIClient, visit: Any, data: bytes, media_type: str, query: str = "?what=data_plate&name=data_plate.jpg"
) -> Any:
    return client.post(f"/api/v1/visits/{visit}/files{query}", data, content_type=media_type)


def test_a_photo_goes_in_and_comes_out_without_its_place(field: APIClient, visit: Visit) -> None:
    made = send(field, visit.id, pictures.jpeg(), JPEG)
    assert made.status_code == 201
    shown = made.json()
    assert (shown["what"], shown["name"], shown["visit"]) == ("data_plate", "data_plate.jpg", str(visit.id))
    assert field.get(made["Location"]).json() == shown
    assert field.get(f"/api/v1/visits/{visit.id}/files").json()["results"] == [shown]
    content = field.get(f"{made['Location']}/content").content
    assert pictures.place_in(content) == {}
    assert (hashlib.sha256(content).hexdigest(), len(content)) == (shown["sha256"], shown["size_bytes"])


@pytest.mark.parametrize(
    ("data", "media_type", "name", "disposition"),
    [(pictures.png(), PNG, "a b.png", 'inline; filename="a b.png"'),
     (pictures.PDF, PDF, "a.pdf", 'attachment; filename="a.pdf"'),
     (pictures.PDF, PDF, "plan d'été.pdf", "attachment; filename*=utf-8''plan%20d%27%C3%A9t%C3%A9.pdf")],
)  # fmt: skip
def test_bytes_come_back_equal_and_are_what_they_are(
    field: APIClient, visit: Visit, data: bytes, media_type: str, name: str, disposition: str
) -> None:
    made = send(field, visit.id, data, media_type, f"?what=other&name={name}")
    content = field.get(f"{made['Location']}/content")
    assert content.content == data
    assert content["Content-Type"] == media_type
    assert content["Content-Disposition"] == disposition
    assert content["X-Content-Type-Options"] == "nosniff"
    assert content["Cache-Control"] == "private, no-cache"
    assert content["Content-SHA256"] == made.json()["sha256"]


def test_what_the_browser_still_has_is_not_sent_again(field: APIClient, office: APIClient, visit: Visit) -> None:
    path = f"{send(field, visit.id, pictures.PDF, PDF)['Location']}/content"
    tag = field.get(path)["ETag"]
    again = office.get(path, headers={"If-None-Match": tag})
    assert (again.status_code, again.content) == (304, b"")
    assert office.get(path, headers={"If-None-Match": '"other"'}).status_code == 200


def test_the_same_bytes_again_answer_with_the_stored_one(field: APIClient, office: APIClient, visit: Visit) -> None:
    first = send(field, visit.id, pictures.jpeg(), JPEG)
    again = send(office, visit.id, pictures.jpeg(), JPEG, "?what=data_plate&name=other.jpg")
    assert (again.status_code, again.json()) == (200, first.json())
    assert send(office, visit.id, pictures.jpeg(), JPEG, "?what=defect&name=data_plate.jpg").status_code == 201
    data_plates = office.get(f"/api/v1/visits/{visit.id}/files?what=data_plate").json()["results"]
    assert data_plates == [first.json()]


@pytest.mark.parametrize(
    ("media_type", "data", "query", "field_named"),
    [(PNG, pictures.jpeg(), "?what=data_plate&name=a", "content"), (JPEG, b"", "?what=data_plate&name=a", "content"),
     ("image/gif", b"GIF89a", "?what=data_plate&name=a", "media_type"),
     ("", b"x", "?what=data_plate&name=a", "media_type"),
     ("multipart/form-data; boundary=x", b"--x--", "?what=data_plate&name=a", "media_type"),
     (PDF, pictures.PDF, "?name=a", "what"), (PDF, pictures.PDF, "?what=data_plate", "name"),
     (PDF, pictures.PDF + bytes(10_000_000), "?what=data_plate&name=a", "content")],
)  # fmt: skip
def test_what_cannot_be_accepted_is_refused_by_name(
    field: APIClient, visit: Visit, media_type: str, data: bytes, query: str, field_named: str
) -> None:
    refused = send(field, visit.id, data, media_type, query)
    assert (refused.status_code, refused.json()["code"]) == (422, "invalid")
    assert list(refused.json()["errors"]) == [field_named]
    assert StoredFile.objects.count() == 0


@pytest.mark.parametrize("query", ["?what=data_plate&name=a&nam=b", "?what=data_plate&what=data_plate&name=a"])
def test_a_query_that_can_be_read_in_two_ways_is_refused(field: APIClient, visit: Visit, query: str) -> None:
    assert send(field, visit.id, pictures.PDF, PDF, query).json()["code"] == "bad_query"


def test_a_foreign_visit_or_file_is_not_found(
    field: APIClient, door: Door, others: dict[str, Any], outsider: User, visit: Visit
) -> None:
    path = send(field, visit.id, pictures.jpeg(), JPEG)["Location"]
    for foreign in (door(others["dispatcher"]), door(outsider)):
        answers = [foreign.get(each) for each in (path, f"{path}/content", f"/api/v1/visits/{visit.id}/files")]
        answers.append(send(foreign, visit.id, pictures.jpeg(), JPEG))
        assert [each.status_code for each in answers] == [404] * 4
    assert send(field, new_id(), pictures.jpeg(), JPEG).status_code == 404
    assert field.get(f"/api/v1/files/{new_id()}/content").status_code == 404
    assert StoredFile.objects.count() == 1


def test_an_auditor_reads_and_does_not_write(field: APIClient, door: Door, auditor: User, visit: Visit) -> None:
    path = send(field, visit.id, pictures.jpeg(), JPEG)["Location"]
    reader = door(auditor)
    assert reader.get(f"{path}/content").status_code == 200
    assert send(reader, visit.id, pictures.PDF, PDF).status_code == 403
    assert door(None).get(f"{path}/content").status_code == 401


def test_bytes_changed_on_the_disk_are_our_fault_and_not_given_out(door: Door, technician: User, visit: Visit) -> None:
    client = door(technician)
    path = send(client, visit.id, pictures.PDF, PDF)["Location"]
    StoredFile.objects.get().path.write_bytes(b"%PDF-another")
    refused = client.get(f"{path}/content")
    assert (refused.status_code, refused.json()["code"]) == (500, "our_fault")


def test_the_list_takes_the_same_few_queries_however_many_files(field: APIClient, visit: Visit) -> None:
    def counted() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as queries:
            rows = field.get(f"/api/v1/visits/{visit.id}/files").json()["results"]
        return len(rows), len(queries)

    send(field, visit.id, pictures.PDF, PDF)
    one = counted()
    for n in range(3):
        send(field, visit.id, pictures.PDF + bytes([n]), PDF)
    assert (one[0], counted()) == (1, (4, one[1]))
    assert one[1] <= 12


def test_the_description_says_what_bytes_go_in_and_come_out() -> None:
    paths = document()["paths"]
    post = paths["/api/v1/visits/{id}/files"]["post"]
    assert set(post["requestBody"]["content"]) == {JPEG, PNG, PDF}
    assert {each["name"] for each in post["parameters"] if each["in"] == "query"} == {"what", "name"}
    assert set(post["responses"]) == {"200", "201", "default"}
    content = paths["/api/v1/files/{id}/content"]["get"]["responses"]
    assert set(content["200"]["content"]) == {JPEG, PNG, PDF}
