"""Webhooks as a manager may see them, and the events of a hook: only what its client, or the installation, has."""

from django.db.models import Q, QuerySet

from fleet.models import AllowedTarget, HookDelivery, User, Webhook
from fleet.models.access import may_see
from fleet.queries.access import visible_clients


def visible_hooks(viewer: User) -> QuerySet[Webhook]:
    """A manager's: those of clients that they may see; those of the whole installation to who sees all clients."""
    if not may_see(viewer, "webhooks"):
        return Webhook.objects.none()
    mine = Q(client__in=visible_clients(viewer))
    scope = mine | Q(client__isnull=True) if viewer.sees_all_clients else mine
    return (
        Webhook.objects.filter(scope, removed_at__isnull=True)
        .select_related("client", "made_by", "kept_by")
        .order_by("name", "id")
    )


def hooks_of(viewer: User, user: User) -> QuerySet[Webhook]:
    """Those that the user made or answers for, as far as the viewer may see them."""
    return visible_hooks(viewer).filter(Q(made_by=user) | Q(kept_by=user))


def visible_deliveries(viewer: User) -> QuerySet[HookDelivery]:
    return HookDelivery.objects.filter(hook__in=visible_hooks(viewer)).select_related("hook")


def allowed_targets(viewer: User) -> QuerySet[AllowedTarget]:
    """Hosts that may be reached although they are private; for managers of the whole installation."""
    if not may_see(viewer, "webhooks") or not viewer.sees_all_clients:
        return AllowedTarget.objects.none()
    return AllowedTarget.objects.select_related("allowed_by")
