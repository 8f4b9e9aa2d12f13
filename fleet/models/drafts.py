"""What came in, read and checked, on its way to a service, and the id of what a file is made into."""

import uuid
from dataclasses import dataclass
from typing import Any

from fleet.evidence import canonical_bytes, sha256_hex


@dataclass(frozen=True)
class VisitDraft:
    """What came in, read and checked; `submitted_sha256` is the hash of the message as it was sent."""

    id: uuid.UUID
    appliance_id: uuid.UUID
    building_id: uuid.UUID
    content: dict[str, Any]
    submitted_sha256: str


_FILES = uuid.UUID("0d0c7f6e-7d5e-5b3a-9f0e-3c1c7f3d1a52")  # so that the same file gives the same id (UUIDv5)


def id_of_file(file: dict[str, Any]) -> uuid.UUID:
    """The id of what a file is made into: the same for the same file."""
    said = {name: file.get(name) for name in ("name", "external_reference", "content")}
    return uuid.uuid5(_FILES, sha256_hex(canonical_bytes(said)))
