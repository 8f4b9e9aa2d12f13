"""Addresses of pages as paths, for whatever is said below the web: messages, lists, calendars."""

from uuid import UUID

from django.conf import settings
from django.contrib.auth.tokens import default_token_generator
from django.urls import reverse
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_encode

from fleet.models import User


def whole(path: str) -> str:
    """With the address under which people outside reach the service."""
    return f"{settings.PUBLIC_ADDRESS}{path}"


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


def password_link(user: User) -> str:
    """A whole address that sets this account's password once: for an invitation, and for who has forgotten theirs.

    It opens nothing after three days, after it was used, and after its owner has logged in or changed address.
    """
    uid = urlsafe_base64_encode(force_bytes(user.pk))
    return whole(reverse("new-password", args=[uid, default_token_generator.make_token(user)]))
