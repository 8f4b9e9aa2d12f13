"""Settle what waits for somebody in the office: a mark on a visit, a message that could not be read."""

from datetime import datetime

from django.db.models import F

from fleet.errors import Conflict
from fleet.models import HeldMessage, Mark, User


def settle_mark(*, mark: Mark, version: int, note: str, actor: User, now: datetime) -> Mark:
    """Raises Conflict where it was settled or changed meanwhile."""
    same = Mark.objects.filter(id=mark.id, version=version, settled_at__isnull=True)
    changes = {"settled_at": now, "settled_by": actor, "settled_note": note}
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The mark was changed or settled meanwhile; read it again.")
    mark.refresh_from_db()
    return mark


def settle_held_message(*, held: HeldMessage, version: int, how: str, actor: User, now: datetime) -> HeldMessage:
    """Its body stays. Raises Conflict where it was settled or changed meanwhile."""
    same = HeldMessage.objects.filter(id=held.id, version=version, settled_at__isnull=True)
    changes = {"settled_at": now, "settled_by": actor, "settled_how": how}
    if not same.update(**changes, version=F("version") + 1):
        raise Conflict("changed_meanwhile", "The message was settled meanwhile; read it again.")
    held.refresh_from_db()
    return held
