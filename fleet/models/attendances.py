"""Attendances: people at a building from arrival to leaving."""

from django.db import models


class Attendance(models.Model):
    """The phone makes its id. Projected from the records of its visits; `people` are ids as given by the phone."""

    id = models.UUIDField(primary_key=True)
    building = models.ForeignKey("fleet.Building", on_delete=models.PROTECT, related_name="attendances")
    people = models.JSONField(default=list)
    arrived_at = models.DateTimeField(null=True)
    left_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-arrived_at", "id"]
