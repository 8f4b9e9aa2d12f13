"""Store a photo or document of a visit or an attempt: whole or not at all, the same content once, without the place
of a photo."""

import os
import tempfile
import unicodedata
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from fleet.coded import Coded, coded, wrong
from fleet.errors import FleetError
from fleet.evidence import sha256_hex
from fleet.failpoints import failpoint
from fleet.models import NoAccess, StoredFile, User, Visit
from fleet.pictures import Picture, read_jpeg, read_png
from fleet.services.records import found_or_made

LARGEST_BYTES = 10_000_000
LARGEST_PX = 50_000_000
LONGEST_NAME = 120
_ENDINGS = {
    StoredFile.MediaType.JPEG: (".jpg", ".jpeg"),
    StoredFile.MediaType.PNG: (".png",),
    StoredFile.MediaType.PDF: (".pdf",),
}
_PICTURES = {StoredFile.MediaType.JPEG: read_jpeg, StoredFile.MediaType.PNG: read_png}


def store_file(
    *,
    visit: Visit | None = None,
    no_access: NoAccess | None = None,
    name: str,
    media_type: str,
    data: bytes,
    what: str,
    actor: User,
    now: datetime,
) -> tuple[StoredFile, bool]:
    """The stored file and whether it was stored now: the same content for the same visit and `what` is found again.

    Of a visit or of an attempt without access: one of the two is given.

    data: the bytes as they came. Position is taken out of pictures; a PDF is kept as it is, pictures within it too.
    Raises FleetError `invalid` naming what can't be accepted: media_type, what, name or content.
    """
    _check_word("media_type", media_type, StoredFile.MediaType.values)
    _check_word("what", what, StoredFile.What.values)
    kept = _content(StoredFile.MediaType(media_type), data)
    file = StoredFile(
        visit=visit,
        no_access=no_access,
        what=what,
        name=_clean_name(name, StoredFile.MediaType(media_type)),
        media_type=media_type,
        size_bytes=len(kept),
        sha256=sha256_hex(kept),
        uploaded_by=actor,
        uploaded_at=now,
    )
    return _stored_once(file, kept)


def _stored_once(file: StoredFile, data: bytes) -> tuple[StoredFile, bool]:
    """The row is committed only once its bytes are on the disk; bytes of a row that wasn't are used the next time."""
    same = StoredFile.objects.filter(visit=file.visit, no_access=file.no_access, what=file.what, sha256=file.sha256)

    def save() -> StoredFile:
        file.save(force_insert=True)
        _put_bytes(file.path, data)
        return file

    return found_or_made(look=same.first, create=save)


def _put_bytes(path: Path, data: bytes) -> None:
    """Whole under this name, and lasting, or not there at all."""
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    descriptor, name = tempfile.mkstemp(dir=path.parent, prefix="unfinished-")
    unfinished = Path(name)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            failpoint("files.write")
            file.flush()
            os.fsync(file.fileno())
        unfinished.rename(path)
    finally:
        unfinished.unlink(missing_ok=True)
    for folder in (path.parent, path.parent.parent):
        _make_lasting(folder)


def _make_lasting(folder: Path) -> None:
    """A new name in a folder outlasts a power cut only when the folder itself is on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _content(media_type: StoredFile.MediaType, data: bytes) -> bytes:
    """The bytes to keep."""
    if len(data) > LARGEST_BYTES:
        raise _refusal("content", coded("bytes_long", bytes=len(data), most=LARGEST_BYTES))
    if media_type == StoredFile.MediaType.PDF:
        if not data.startswith(b"%PDF-"):
            raise _refusal("content", coded("no_pdf", begins=repr(data[:8])))
        return data
    return _picture(media_type, data).data


def _picture(media_type: StoredFile.MediaType, data: bytes) -> Picture:
    try:
        picture = _PICTURES[media_type](data)
    except ValueError as bad:
        said = coded("no_picture", begins=repr(data[:8]), kind=str(media_type.label))
        raise _refusal("content", said) from bad
    if picture.width_px * picture.height_px > LARGEST_PX:
        said = coded("pixels", width=picture.width_px, height=picture.height_px, most=LARGEST_PX)
        raise _refusal("content", said)
    return picture


def _clean_name(given: str, media_type: StoredFile.MediaType) -> str:
    """The last part of the name given, printable, with an ending that says what the content is."""
    last = unicodedata.normalize("NFC", given).replace("\\", "/").rsplit("/", 1)[-1]
    clean = "".join(each for each in last if each.isprintable()).strip()
    if clean and not clean.lower().endswith(_ENDINGS[media_type]):
        clean += _ENDINGS[media_type][0]
    if not 1 <= len(clean) <= LONGEST_NAME:
        raise _refusal("name", wrong("file_name", given, most=LONGEST_NAME))
    return clean


def _check_word(field: str, value: str, words: Sequence[str]) -> None:
    if value not in words:
        raise _refusal(field, wrong("one_of", value, allowed=list(words)))


def _refusal(field: str, said: Coded) -> FleetError:
    return FleetError("invalid", "The file can't be accepted.", errors={field: said})
