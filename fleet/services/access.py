"""Who may come in: people's accounts, passwords and log-ins, and their keys for other programs: shown once, and ended
by them."""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from allauth.mfa.models import Authenticator
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.timezone import localdate

from fleet.assess.refusals import check_entry, password_fault
from fleet.coded import wrong
from fleet.errors import FleetError, NotFound
from fleet.models import ApiToken, Client, LogIn, Person, User
from fleet.models.access import changes_anything
from fleet.queries.access import log_ins_of, visible_clients, visible_tokens
from fleet.services import jobs
from fleet.services.audit import note_change
from fleet.services.register import create_entry

MOST_DAYS = 365
MOST_TOKENS = 50


@transaction.atomic
def create_token(
    *,
    user: User,
    name: str,
    scope: str,
    days: int,
    actor: User | None,
    now: datetime,
    clients: Collection[Client] | None = None,
) -> tuple[ApiToken, str]:
    """The token and its secret, which is kept nowhere: the database holds its hash.

    user : its owner. clients : what it sees, of what its owner sees at the time; None: all of that. actor : None where
    it is made on the machine itself. Raises FleetError `invalid`.
    """
    if not 1 <= days <= MOST_DAYS:
        errors = {"days": wrong("whole_between", days, low=1, high=MOST_DAYS)}
        raise FleetError("invalid", "The token's time can't be accepted.", errors=errors)
    if scope != ApiToken.Scope.READ and not changes_anything(user):
        errors = {"scope": wrong("one_of", scope, allowed=[ApiToken.Scope.READ.value])}
        raise FleetError("invalid", "The token's owner changes nothing.", errors=errors)
    if not {each.id for each in clients or ()} <= set(visible_clients(user).values_list("id", flat=True)):
        raise NotFound("not_found", "There is no such client that you may see.")
    if ApiToken.objects.filter(user=user).count() >= MOST_TOKENS:
        raise FleetError(
            "too_many_tokens", "You have %(most)d tokens; revoke one first.", figures={"most": MOST_TOKENS}
        )
    said = {"name": name, "scope": scope, "is_limited": clients is not None}
    token, secret = ApiToken.objects.create(user=user, expiry=timedelta(days=days), **said)
    token.clients.set(clients or ())
    note_change(user=user, actor=actor, now=now, code="token_made", **_about(token))
    return token, secret


def _about(token: ApiToken) -> dict[str, Any]:
    """What the trail says of it."""
    clients = sorted(token.clients.values_list("name", flat=True)) if token.is_limited else None
    until = f"{localdate(token.expiry):%Y-%m-%d}"
    return {"name": token.name, "scope": token.scope, "clients": clients, "until": until}


@transaction.atomic
def revoke_token(*, actor: User | None, key: str, now: datetime) -> None:
    """It opens nothing from now on. Raises NotFound where there is no such token that they may end.

    actor : None where it is done on the machine itself, where every token may be ended.
    """
    known = visible_tokens(actor) if actor else ApiToken.objects.select_related("user")
    token = known.filter(token_key=key).first()
    if token is None:
        raise NotFound("not_found", "There is no such token that you may end.")
    about = _about(token)
    token.delete()
    note_change(user=token.user, actor=actor, now=now, code="token_ended", **about)


def note_token_used(*, token: ApiToken, now: datetime) -> None:
    """By the office's day: all but the first request of a day write nothing."""
    today = localdate(now)
    if token.used_on != today:
        ApiToken.objects.filter(pk=token.pk).update(used_on=today)


# ---- log-ins and passwords ----


@transaction.atomic
def end_log_in(*, actor: User, key: str, now: datetime) -> None:
    """One of one's own, by the key of its row. Raises NotFound."""
    ended, _tables = log_ins_of(actor).filter(key=key).delete()
    if not ended:
        raise NotFound("not_found", "You are not logged in there any more.")
    note_change(user=actor, actor=actor, now=now, code="log_in_ended")


@transaction.atomic
def end_other_log_ins(*, actor: User, but: str, now: datetime) -> int:
    """All of one's own but this one; returns how many."""
    ended, _tables = LogIn.objects.filter(user=actor).exclude(key=but).delete()
    note_change(user=actor, actor=actor, now=now, code="other_log_ins_ended")
    return ended


def set_password(*, user: User, password: str, now: datetime) -> None:
    """A new password; wherever its owner is logged in, that ends. Raises FleetError `invalid`."""
    _hash_password(user, password)  # before the transaction: it takes its time, and may wait
    with transaction.atomic():
        user.save(update_fields=["password"])
        LogIn.objects.filter(user=user).delete()
        note_change(user=user, actor=user, now=now, code="password_set")


def prune_log_ins(*, now: datetime) -> None:
    """What has ended by itself."""
    LogIn.objects.filter(expires_at__lt=now).delete()


@transaction.atomic
def forget_second_factor(*, user: User, why: str, actor: User | None, now: datetime) -> None:
    """Of somebody who lost theirs: they log in by their password alone, and a manager sets up a new one first.

    actor : None where it is done on the machine itself.
    """
    Authenticator.objects.filter(user=user).delete()
    LogIn.objects.filter(user=user).delete()
    note_change(user=user, actor=actor, now=now, code="second_factor_off", why=why)


def ask_for_password_link(*, email: str, now: datetime) -> None:
    """A link for each account of this address, by mail; whether there is one can't be told from outside."""
    for user in User.objects.filter(email__iexact=email, is_active=True):
        jobs.request_job(kind="send_password_link", key=str(user.id), due_at=now)


def change_email(*, user: User, email: str, actor: User | None, now: datetime) -> None:
    """Where alerts and the link for a forgotten password go. Another one stands on the audit trail, and the one before
    is told."""
    if email == user.email:
        return
    noted = note_change(user=user, actor=actor, now=now, code="email_changed")
    if user.email:
        jobs.request_job(kind="tell_old_address", key=str(noted.id), args={"to": user.email}, due_at=now)
    User.objects.filter(id=user.id).update(email=email)
    user.email = email


def _hash_password(user: User, password: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as bad:
        raise FleetError("invalid", "The password can't be used.", errors={"password": password_fault(bad)}) from bad
    user.set_password(password)


# ---- accounts ----


def create_user(
    *, username: str, password: str, role: str, name: str, email: str = "", sees_all_clients: bool = True
) -> User:
    """A person's account; the password is held against the usual rules. Raises FleetError `invalid`."""
    user = User(username=username, role=role, last_name=name, email=email, sees_all_clients=sees_all_clients)
    _hash_password(user, password)
    with transaction.atomic():
        check_entry(user)
        user.save()
        create_entry(model=Person, values={"name": name, "role": role, "email": email, "user": user})
    return user
