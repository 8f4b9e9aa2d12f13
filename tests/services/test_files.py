"""Files of a visit: whole or not at all, the same content once, refused where they aren't what they claim."""

from pathlib import Path
from typing import Any

import pytest

from fleet import failpoints
from fleet.errors import FleetError
from fleet.evidence import sha256_hex
from fleet.models import Appliance, Client, StoredFile, User, Visit
from fleet.queries.records import visible_files
from fleet.services import files, records
from fleet.services.files import store_file
from tests import cast, pictures
from tests.intake.refused import said_of


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, settings: Any) -> Path:
    settings.MEDIA_ROOT = tmp_path / "files"
    return tmp_path / "files"


@pytest.fixture
def visit(body: dict[str, Any], technician: User) -> Visit:
    return cast.store(body, technician)


def attach(visit: Visit, actor: User, data: bytes = pictures.PDF, **changes: Any) -> tuple[StoredFile, bool]:
    given = {"name": "print-out.pdf", "media_type": "application/pdf", "what": "analyser_print_out"} | changes
    return store_file(visit=visit, data=data, actor=actor, now=cast.NOON, **given)


def attach_photo(visit: Visit, actor: User, **changes: Any) -> StoredFile:
    data = changes.pop("data", pictures.jpeg())
    given = {"name": "data_plate.jpg", "media_type": "image/jpeg", "what": "data_plate"} | changes
    return attach(visit, actor, data, **given)[0]


def refused(visit: Visit, actor: User, **changes: Any) -> dict[str, str]:
    with pytest.raises(FleetError) as refusal:
        attach(visit, actor, **changes)
    assert refusal.value.code == "invalid"
    errors: Any = said_of(refusal.value)
    return dict(errors)


def on_disk(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.rglob("*") if each.is_file()) if folder.exists() else []


def test_a_file_lies_under_its_hash_and_comes_back_to_the_last_byte(
    visit: Visit, technician: User, folder: Path
) -> None:
    for data, media_type in ((pictures.PDF, "application/pdf"), (pictures.png(), "image/png")):
        file, made = attach(visit, technician, data, media_type=media_type)
        assert made
        assert file.path == folder / sha256_hex(data)[:2] / sha256_hex(data)
        assert file.read_bytes() == data
        assert (file.sha256, file.size_bytes) == (sha256_hex(data), len(data))
        assert (file.uploaded_by, file.uploaded_at) == (technician, cast.NOON)


def test_a_photo_is_stored_without_its_place(visit: Visit, technician: User, folder: Path) -> None:
    file = attach_photo(visit, technician)
    stored = file.read_bytes()
    assert pictures.place_in(stored) == {}
    assert pictures.opened(stored).tobytes() == pictures.opened(pictures.jpeg()).tobytes()
    assert (file.sha256, file.size_bytes) == (sha256_hex(stored), len(stored))
    assert on_disk(folder) == [file.sha256]


def test_the_same_photo_again_is_found_and_not_stored_twice(visit: Visit, technician: User, folder: Path) -> None:
    first = attach_photo(visit, technician)
    assert attach_photo(visit, technician, name="again.jpg") == first
    assert attach_photo(visit, technician, data=first.read_bytes()) == first
    assert attach_photo(visit, technician, what="defect") != first
    assert StoredFile.objects.count() == 2
    assert on_disk(folder) == [first.sha256]


def test_who_comes_second_finds_what_the_first_stored(
    visit: Visit, technician: User, dispatcher: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between our look and our row somebody else stores the same."""
    begin = records.transaction.atomic

    def begin_too_late() -> Any:
        monkeypatch.setattr(records.transaction, "atomic", begin)
        assert attach(visit, dispatcher)[1]
        return begin()

    monkeypatch.setattr(records.transaction, "atomic", begin_too_late)
    file, made = attach(visit, technician)
    assert (file.uploaded_by, made) == (dispatcher, False)
    assert StoredFile.objects.count() == 1


@pytest.mark.parametrize(
    ("media_type", "data", "said"),
    [
        ("image/jpeg", pictures.png(), "JPEG"),
        ("image/png", pictures.jpeg(), "PNG"),
        ("image/png", pictures.PDF, "PNG"),
        ("application/pdf", pictures.jpeg(), "%PDF-"),
        ("application/pdf", b"", "%PDF-"),
        ("image/jpeg", b"", "JPEG"),
        ("image/jpeg", pictures.jpeg()[:-9], "cut short"),
    ],
)
def test_content_that_is_not_what_it_claims_is_refused(
    visit: Visit, technician: User, folder: Path, media_type: str, data: bytes, said: str
) -> None:
    errors = refused(visit, technician, media_type=media_type, data=data)
    assert said in errors["content"]
    assert on_disk(folder) == []


def test_ten_megabytes_are_taken_and_one_byte_more_is_refused(visit: Visit, technician: User) -> None:
    largest = pictures.PDF + bytes(files.LARGEST_BYTES - len(pictures.PDF))
    assert attach(visit, technician, largest)[0].size_bytes == 10_000_000
    assert "at most 10000000" in refused(visit, technician, data=largest + b"\x00")["content"]


@pytest.mark.parametrize(("side_px", "is_taken"), [((10_000, 5_000), True), ((10_000, 5_001), False)])
def test_fifty_megapixels_are_taken_and_no_more(
    visit: Visit, technician: User, side_px: tuple[int, int], is_taken: bool
) -> None:
    sent = pictures.jpeg(place=False)
    at = sent.index(b"\xff\xc0") + 5
    large = sent[:at] + side_px[1].to_bytes(2, "big") + side_px[0].to_bytes(2, "big") + sent[at + 4 :]
    if is_taken:
        assert attach_photo(visit, technician, data=large).size_bytes == len(large)
    else:
        assert "10000 x 5001" in refused(visit, technician, data=large, media_type="image/jpeg")["content"]


@pytest.mark.parametrize(
    ("field", "value", "allowed"),
    [("media_type", "image/gif", "image/jpeg, image/png, application/pdf"),
     ("what", "cat", "data_plate, defect, analyser_print_out, letter, proof_of_delivery, other"),
     ("what", "", "data_plate"),
     ("name", "", "1 to 120"), ("name", " \u202e\u0000/", "1 to 120"), ("name", "x" * 117, "1 to 120")],
)  # fmt: skip
def test_words_that_are_not_known_are_refused_with_what_is_allowed(
    visit: Visit, technician: User, field: str, value: str, allowed: str
) -> None:
    errors = refused(visit, technician, **{field: value})
    assert list(errors) == [field]
    assert allowed in errors[field]


@pytest.mark.parametrize(
    ("given", "kept"),
    [("a.PDF", "a.PDF"), ("x" * 116, "x" * 116 + ".pdf"), ("../../etc/passwd", "passwd.pdf"),
     ("C:\\photos\\a.pdf", "a.pdf"), ("fdp\u202egpj.exe", "fdpgpj.exe.pdf"), ("a\r\nb: c.pdf", "ab: c.pdf"),
     ("pla\u0301ka.pdf", "pl\u00e1ka.pdf")],
)  # fmt: skip
def test_a_name_is_kept_as_given_but_for_what_could_mislead(
    visit: Visit, technician: User, given: str, kept: str
) -> None:
    assert attach(visit, technician, name=given)[0].name == kept


@pytest.mark.parametrize("cause", [OSError("disk full"), KeyboardInterrupt()])
def test_a_broken_off_write_leaves_nothing(visit: Visit, technician: User, folder: Path, cause: BaseException) -> None:
    def break_off() -> None:
        assert on_disk(folder), "the write has begun"
        raise cause

    failpoints.arm("files.write", break_off)
    try:
        with pytest.raises(type(cause)):
            attach(visit, technician)
    finally:
        failpoints.disarm()
    assert on_disk(folder) == []
    assert StoredFile.objects.count() == 0
    assert attach(visit, technician)[1]


def test_bytes_that_were_changed_on_the_disk_are_not_given_out(visit: Visit, technician: User) -> None:
    file, _made = attach(visit, technician)
    file.path.write_bytes(pictures.PDF + b"more")
    with pytest.raises(ValueError, match="don't match"):
        file.read_bytes()


def test_only_the_files_of_own_clients_are_seen(
    visit: Visit, technician: User, auditor: User, outsider: User, boiler: Appliance
) -> None:
    file, _made = attach(visit, technician)
    elsewhere = cast.make_user("elsewhere", "dispatcher", sees_all_clients=False)
    elsewhere.clients.add(Client.objects.create(name="Mill Trust"))
    seen = {user.username: list(visible_files(user)) for user in (technician, auditor, outsider, elsewhere)}
    assert seen == {"technician": [file], "auditor": [file], "outsider": [], "elsewhere": []}
