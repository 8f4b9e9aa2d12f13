"""What came in, read and checked, on its way to a service."""

import uuid
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class VisitDraft:
    """What came in, read and checked; `submitted_sha256` is the hash of the message as it was sent."""

    id: uuid.UUID
    appliance_id: uuid.UUID
    building_id: uuid.UUID
    content: dict[str, Any]
    submitted_sha256: str
