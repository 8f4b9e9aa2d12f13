"""What a viewer may see: the clients they are given, and everything below them; and their own log-ins and tokens."""

from allauth.mfa.models import Authenticator
from django.conf import settings
from django.db.models import QuerySet

from fleet import clock
from fleet.models import ApiToken, Client, Contractor, LogIn, Role, User
from fleet.models.access import may_see

SECOND_FACTORS = [Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN]


def visible_clients(viewer: User) -> QuerySet[Client]:
    """All clients, or the ones named for this user, and of these the ones that a limited token names; none for somebody
    who isn't logged in."""
    if not viewer.is_active:
        return Client.objects.none()
    token = viewer.limited_by
    if viewer.sees_all_clients or (token and token.owner_sees_all):
        clients = Client.objects.all()
    else:
        clients = Client.objects.filter(viewers=viewer)
    return clients.filter(tokens=token) if token else clients


def needs_second_factor(viewer: User) -> bool:
    """A manager does, outside the demonstration."""
    if not settings.MANAGERS_NEED_SECOND_FACTOR or viewer.role != Role.MANAGER:
        return False
    return not Contractor.objects.filter(id=1, is_demo=True).exists()


def has_second_factor(viewer: User) -> bool:
    return bool(Authenticator.objects.filter(user=viewer, type__in=SECOND_FACTORS).exists())


def lacks_second_factor(viewer: User) -> bool:
    """Without the one that they need no session and no token of theirs opens anything."""
    return needs_second_factor(viewer) and not has_second_factor(viewer)


def tokens_of(viewer: User) -> QuerySet[ApiToken]:
    """The viewer's own."""
    tokens: QuerySet[ApiToken] = ApiToken.objects.filter(user=viewer)
    return tokens.select_related("user").prefetch_related("clients").order_by("created", "token_key")


def visible_tokens(viewer: User) -> QuerySet[ApiToken]:
    """The viewer's own; of a manager of all clients everybody's."""
    if not (may_see(viewer, "tokens_of_others") and viewer.sees_all_clients):
        return tokens_of(viewer)
    tokens: QuerySet[ApiToken] = ApiToken.objects.order_by("created", "token_key")
    return tokens.select_related("user").prefetch_related("clients")


def log_ins_of(viewer: User) -> QuerySet[LogIn]:
    """Where the viewer is logged in, the last used first."""
    return LogIn.objects.filter(user=viewer, expires_at__gt=clock.now()).order_by("-seen_at", "key")
