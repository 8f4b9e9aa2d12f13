"""Held messages, settled ones too, for people who see all clients: their client can't be known."""

from django.db.models import QuerySet

from fleet.models import HeldMessage, User


def all_held_messages(viewer: User) -> QuerySet[HeldMessage]:
    if not viewer.is_authenticated or not viewer.sees_all_clients:
        return HeldMessage.objects.none()
    return HeldMessage.objects.select_related("actor", "settled_by")
