"""The tokens of a user's own account."""

from django.db.models import QuerySet

from fleet.models import ApiToken, User


def tokens_of(viewer: User) -> QuerySet[ApiToken]:
    tokens: QuerySet[ApiToken] = ApiToken.objects.filter(user=viewer).order_by("created", "token_key")
    return tokens
