"""Addresses of pages as paths, for whatever is said below the web: messages, lists, calendars."""

import ipaddress
from datetime import timedelta
from urllib.parse import urlsplit
from uuid import UUID

from django.conf import settings
from django.contrib.auth.tokens import PasswordResetTokenGenerator
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import base36_to_int, urlsafe_base64_encode

from fleet.models import User


def whole(path: str) -> str:
    """With the address under which people outside reach the service."""
    return f"{settings.PUBLIC_ADDRESS}{path}"


def opens_here_alone() -> bool:
    """Whether a whole address means this machine on every other."""
    host = urlsplit(settings.PUBLIC_ADDRESS).hostname or ""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host == "localhost" or host.endswith(".localhost")
    return address.is_loopback or address.is_unspecified


def attention_page(flag_id: UUID | None = None) -> str:
    """The start page; at this flag where one is named."""
    return f"{reverse('attention')}#flag-{flag_id}" if flag_id else reverse("attention")


def appliance_page(appliance_id: UUID) -> str:
    return reverse("appliance", args=[appliance_id])


def records_page(part: str = "") -> str:
    """part: the heading on it, such as "unreadable"."""
    return f"{reverse('records')}#{part}" if part else reverse("records")


def deliveries_page() -> str:
    return reverse("deliveries")


def defects_page() -> str:
    return reverse("defects")


def alerts_page() -> str:
    return reverse("alerts")


def webhooks_page() -> str:
    return reverse("webhooks")


def calendar_feed(secret: str) -> str:
    return reverse("calendar-feed", args=[secret])


FORGOTTEN_OPENS = timedelta(days=3)


class PasswordLinks(PasswordResetTokenGenerator):
    """Who was let in and has no password yet has seven days (`PASSWORD_RESET_TIMEOUT`), who has forgotten theirs three,
    who has left none."""

    def check_token(self, user: User | None, token: str | None) -> bool:
        if user is None or not user.is_active or not super().check_token(user, token):
            return False
        age_s = self._num_seconds(self._now()) - base36_to_int(str(token).split("-")[0])
        return not user.has_usable_password() or bool(age_s <= FORGOTTEN_OPENS.total_seconds())


password_links = PasswordLinks()


def password_link(user: User) -> str:
    """A whole address that sets this account's password once: for an invitation, and for who has forgotten theirs.

    It opens nothing after its time, after it was used, and after its owner has logged in, changed address or left.
    """
    uid = urlsafe_base64_encode(force_bytes(user.pk))
    return whole(reverse("new-password", args=[uid, password_links.make_token(user)]))
