"""Flags: what needs attention about an appliance, and why."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.models.register import RegisterEntry


class Flag(RegisterEntry):
    """Never two open for one reason (`kind` and `key`). `closed_figures` are those of the moment of closing.

    `sentence` and `closed_why` : what a person wrote, of an unsafe appliance and on closing. What the program has to
    say is made of `figures` and `closed_figures` by `presentation.follow_ups`; those of a finding hold its `verdict`.
    """

    class Kind(models.TextChoices):
        UNSAFE = "unsafe", _("unsafe")
        STOP = "stop_level", _("stop level")
        OUTSIDE = "outside_a_limit", _("outside a limit")
        DRIFT = "may_be_outside", _("may be outside before the next planned visit")

    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="flags")
    visit = models.ForeignKey("fleet.Visit", null=True, on_delete=models.PROTECT, related_name="flags")
    kind = models.CharField(max_length=30, choices=Kind.choices)
    key = models.CharField(max_length=200)
    sentence = models.CharField(max_length=1000, blank=True)
    figures = models.JSONField(default=dict)
    opened_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    acknowledged_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    acknowledged_note = models.CharField(max_length=500, blank=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    closed_why = models.CharField(max_length=500, blank=True)
    closed_figures = models.JSONField(default=dict)

    class Meta:
        ordering = ["opened_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["appliance", "kind", "key"], condition=Q(closed_at__isnull=True), name="one_open_flag_a_reason"
            )
        ]
        indexes = [models.Index(fields=["kind", "closed_at"])]
