"""Other programs' keys: made by a person for their own account, shown once, and revoked by them."""

from datetime import timedelta

from fleet.errors import FleetError, NotFound
from fleet.models import ApiToken, User

MOST_DAYS = 365
MOST_TOKENS = 50


def create_token(*, user: User, name: str, scope: str, days: int) -> tuple[ApiToken, str]:
    """The token and its secret, which is kept nowhere: the database holds its hash. Raises FleetError `invalid`."""
    if not 1 <= days <= MOST_DAYS:
        errors = {"days": f"is {days}; it must be from 1 to {MOST_DAYS}"}
        raise FleetError("invalid", "The token's time can't be accepted.", errors=errors)
    if ApiToken.objects.filter(user=user).count() >= MOST_TOKENS:
        raise FleetError("too_many_tokens", f"You have {MOST_TOKENS} tokens; revoke one first.")
    token, secret = ApiToken.objects.create(user=user, expiry=timedelta(days=days), name=name, scope=scope)
    return token, secret


def revoke_token(*, user: User, key: str) -> None:
    """It opens nothing from now on. Raises NotFound where the user has no such token."""
    revoked, _tables = ApiToken.objects.filter(user=user, token_key=key).delete()
    if not revoked:
        raise NotFound("not_found", "You have no such token.")
