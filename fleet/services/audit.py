"""The audit trail: one entry for what somebody did, written beside it."""

from datetime import datetime
from typing import Any

from fleet.coded import as_row
from fleet.models import AuditEntry, User

PATH_LENGTH = 300


def note(*, kind: str, user: User | None, now: datetime, network: str = "", path: str = "") -> AuditEntry:
    """That somebody came, went, looked at something or took it out."""
    return AuditEntry.objects.create(kind=kind, user=user, at=now, network=network, path=path[:PATH_LENGTH])


def note_change(*, user: User, actor: User | None, now: datetime, code: str, **figures: Any) -> AuditEntry:
    """That who may come in, as what, for which clients or by which token changed; actor is none at the terminal."""
    said = as_row(code, **figures)
    return AuditEntry.objects.create(kind=AuditEntry.Kind.ACCESS_CHANGED, user=user, by=actor, at=now, said=said)
