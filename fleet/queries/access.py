"""What a viewer may see: the clients they are given, and everything below them."""

from django.db.models import QuerySet

from fleet.models import Client, User


def visible_clients(viewer: User) -> QuerySet[Client]:
    """All clients, or the ones named for this user; none for somebody who isn't logged in."""
    if not viewer.is_active:
        return Client.objects.none()
    if viewer.sees_all_clients:
        return Client.objects.all()
    return Client.objects.filter(viewers=viewer)
