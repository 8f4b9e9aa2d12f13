"""Defects: what is wrong besides the readings, by when it must be mended, and who was told."""

from django.db import models


class Defect(models.Model):
    """Projected from the visit that found it; closed by a later visit."""

    id = models.UUIDField(primary_key=True)
    visit = models.ForeignKey("fleet.Visit", on_delete=models.PROTECT, related_name="defects")
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="defects")
    what = models.CharField(max_length=500)
    where = models.CharField(max_length=200, blank=True)
    severity = models.CharField(max_length=30)
    action = models.CharField(max_length=500, blank=True)
    done = models.BooleanField(default=False)
    mend_by = models.DateField(null=True)
    told = models.CharField(max_length=200, blank=True)
    closed_by = models.ForeignKey("fleet.Visit", null=True, on_delete=models.PROTECT, related_name="closes_defects")

    class Meta:
        ordering = ["mend_by", "id"]

    def __str__(self) -> str:
        return self.what

    @property
    def is_open(self) -> bool:
        return not self.done and self.closed_by_id is None
