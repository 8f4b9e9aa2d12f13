"""Out of use: the days on which an appliance stood still, who said so, and what proves it."""

from django.db import models
from django.db.models import F, Q


class OutOfUse(models.Model):
    """Projected from its newest record. From `begins` to the day before `ends`, which is the day of the restart."""

    id = models.UUIDField(primary_key=True)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="out_of_use")
    begins = models.DateField()
    ends = models.DateField(null=True)
    why = models.CharField(max_length=300)
    said_by = models.CharField(max_length=200)
    proof = models.CharField(max_length=300, blank=True)
    restart_said_by = models.CharField(max_length=200, blank=True)
    restart_proof = models.CharField(max_length=300, blank=True)
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "out of use"
        ordering = ["begins", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["appliance"], condition=Q(ends__isnull=True), name="out_of_use_once_at_a_time"
            ),
            models.CheckConstraint(
                condition=Q(ends__isnull=True) | Q(ends__gte=F("begins")), name="restart_not_before_it_stood_still"
            ),
        ]
