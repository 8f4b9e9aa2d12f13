"""Who may do what, by the one table. Deny by default: a view that names no subject refuses everyone."""

from typing import Any, ClassVar

from knox.auth import TokenAuthentication
from rest_framework.authentication import get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import SAFE_METHODS, BasePermission
from rest_framework.request import Request

from fleet import clock
from fleet.models import ApiToken
from fleet.models.access import ACCESS, may_change, may_see
from fleet.queries.access import lacks_second_factor
from fleet.services.access import note_token_used


class BearerToken(TokenAuthentication):
    """A program's token in the Authorization header; one that isn't even ASCII is no token."""

    def authenticate(self, request: Request) -> Any:
        if not get_authorization_header(request).isascii():
            raise AuthenticationFailed("Invalid token.")
        known = super().authenticate(request)
        if known and lacks_second_factor(known[0]):
            raise AuthenticationFailed("Its owner has to set up a second factor first.")
        if known:
            note_token_used(token=known[1], now=clock.now())
        if known and known[1].is_limited:
            known[0].limit_to(known[1])
        return known


class ByRole(BasePermission):
    """Who may see the view's subject reads, who may change it writes; a read-only token never changes anything.

    The default of every view.
    """

    message: ClassVar[str] = "Your role or token may not do this."

    def has_permission(self, request: Request, view: Any) -> bool:
        user = request.user
        if not user.is_authenticated:
            return False
        subject = getattr(view, "subject", "")
        if subject not in ACCESS:
            return False
        if request.method in SAFE_METHODS:
            return may_see(user, subject)
        if isinstance(request.auth, ApiToken) and request.auth.scope != ApiToken.Scope.WRITE:
            return False
        return may_change(user, subject)
