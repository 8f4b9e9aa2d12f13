"""Calendar links: secret places from which a calendar program reads revisits and required checks."""

import hashlib

from django.db import models
from django.db.models import Q

from fleet.models.register import new_id


class CalendarLink(models.Model):
    """One feed, of a technician or of a client. Of its secret only the SHA-256 is kept; renewing changes it."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    user = models.ForeignKey(
        "fleet.User", null=True, blank=True, on_delete=models.PROTECT, related_name="calendar_links"
    )
    client = models.ForeignKey(
        "fleet.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="calendar_links"
    )
    secret_sha256 = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey("fleet.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "calendar links"
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(user__isnull=False, client__isnull=True) | Q(user__isnull=True, client__isnull=False),
                name="calendar_of_a_person_or_a_client",
            )
        ]


class CalendarEntry(models.Model):
    """What one address has shown under one UID: a change raises the sequence, what is gone is told as cancelled."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    address = models.ForeignKey(CalendarLink, on_delete=models.CASCADE, related_name="entries")
    uid = models.CharField(max_length=100)
    sequence = models.PositiveIntegerField(default=0)
    content = models.JSONField()
    changed_at = models.DateTimeField()
    cancelled_at = models.DateTimeField(null=True)

    class Meta:
        verbose_name_plural = "calendar entries"
        ordering = ["uid"]
        constraints = [models.UniqueConstraint(fields=["address", "uid"], name="one_calendar_entry_a_uid")]


def hash_of(secret: str) -> str:
    """As random as it is long: a plain hash can't be turned back."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()
