"""Corrections that take something back, and wait until somebody else has confirmed them."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.register import new_id


class Correction(models.Model):
    """Of a visit, not in force until it is confirmed: everywhere the worse version stands.

    content, submitted_sha256 : the message as it would be recorded. takes_back : codes of what it would withdraw.
    of_version : how many records the visit had when it was made.
    """

    class Ended(models.TextChoices):
        CONFIRMED = "confirmed", _("confirmed")
        REFUSED = "refused", _("refused")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey("fleet.Visit", on_delete=models.PROTECT, related_name="corrections")
    content = models.JSONField()
    submitted_sha256 = models.CharField(max_length=64)
    reason = models.CharField(max_length=500)
    takes_back = models.JSONField()
    of_version = models.PositiveIntegerField()
    made_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    ended = models.CharField(max_length=10, choices=Ended.choices, blank=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    ended_note = models.CharField(max_length=500, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit"], condition=models.Q(ended_at__isnull=True), name="one_waiting_correction_a_visit"
            )
        ]
