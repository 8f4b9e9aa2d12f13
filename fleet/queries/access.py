"""What a viewer may see: the clients they are given, and everything below them; and their own account's tokens."""

from django.db.models import QuerySet

from fleet.models import ApiToken, Client, User


def visible_clients(viewer: User) -> QuerySet[Client]:
    """All clients, or the ones named for this user; none for somebody who isn't logged in."""
    if not viewer.is_active:
        return Client.objects.none()
    if viewer.sees_all_clients:
        return Client.objects.all()
    return Client.objects.filter(viewers=viewer)


def tokens_of(viewer: User) -> QuerySet[ApiToken]:
    tokens: QuerySet[ApiToken] = ApiToken.objects.filter(user=viewer).order_by("created", "token_key")
    return tokens
