"""Who may come in: people's accounts, and their keys for other programs: shown once, and revoked by them."""

from datetime import timedelta

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.assess.refusals import check_entry
from fleet.coded import coded, wrong
from fleet.errors import FleetError, NotFound
from fleet.models import ApiToken, Person, User
from fleet.services.register import create_entry

MOST_DAYS = 365
MOST_TOKENS = 50


def create_token(*, actor: User, name: str, scope: str, days: int) -> tuple[ApiToken, str]:
    """The token and its secret, which is kept nowhere: the database holds its hash. Raises FleetError `invalid`."""
    if not 1 <= days <= MOST_DAYS:
        errors = {"days": wrong("whole_between", days, low=1, high=MOST_DAYS)}
        raise FleetError("invalid", "The token's time can't be accepted.", errors=errors)
    if ApiToken.objects.filter(user=actor).count() >= MOST_TOKENS:
        raise FleetError(
            "too_many_tokens", "You have %(most)d tokens; revoke one first.", figures={"most": MOST_TOKENS}
        )
    token, secret = ApiToken.objects.create(user=actor, expiry=timedelta(days=days), name=name, scope=scope)
    return token, secret


def revoke_token(*, actor: User, key: str) -> None:
    """It opens nothing from now on. Raises NotFound where the user has no such token."""
    revoked, _tables = ApiToken.objects.filter(user=actor, token_key=key).delete()
    if not revoked:
        raise NotFound("not_found", "You have no such token.")


def create_user(*, username: str, password: str, role: str, name: str, sees_all_clients: bool = True) -> User:
    """A person's account; the password is held against the usual rules. Raises FleetError `invalid`."""
    user = User(username=username, role=role, last_name=name, sees_all_clients=sees_all_clients)
    try:
        validate_password(password, user)
    except ValidationError as bad:
        raise FleetError(
            "invalid", "The password can't be used.", errors={"password": coded("as_said", said=" ".join(bad.messages))}
        ) from bad
    user.set_password(password)
    with transaction.atomic():
        check_entry(user)
        user.save()
        create_entry(model=Person, values={"name": name, "role": role, "user": user})
    return user
