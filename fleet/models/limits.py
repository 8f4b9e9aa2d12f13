"""Limit sets as versioned data, where they are assigned, and the contractor's own stop levels."""

from django.db import models

from fleet.models.register import RegisterEntry, new_id


class LimitSet(RegisterEntry):
    """A named set of limits and an interval rule: a law's, a standard's, a contract's or the trade's.

    Retired, it is assigned nowhere any more; where it is assigned it goes on until somebody ends that.
    """

    key = models.SlugField(max_length=80, unique=True, allow_unicode=False)
    name = models.CharField(max_length=200)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["key"]

    @property
    def current(self) -> "LimitSetVersion | None":
        return max(self.versions.all(), key=lambda each: each.number, default=None)


class LimitSetVersion(models.Model):
    """Projected from a record. `evidence` says how well it was checked; a review names who, when and by what."""

    id = models.UUIDField(primary_key=True)
    limit_set = models.ForeignKey(LimitSet, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    evidence = models.CharField(max_length=20)
    reviewed_by = models.CharField(max_length=200, blank=True)
    reviewed_on = models.DateField(null=True, blank=True)
    review_source = models.CharField(max_length=500, blank=True)
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["limit_set", "number"]
        constraints = [models.UniqueConstraint(fields=["limit_set", "number"], name="limit_set_version_number_once")]

    @property
    def is_reviewed(self) -> bool:
        return bool(self.reviewed_by)


class LimitSetAssignment(models.Model):
    """A person's recorded decision that a set applies: to one appliance, a building or all of a client's."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    limit_set = models.ForeignKey(LimitSet, on_delete=models.PROTECT, related_name="assignments")
    client = models.ForeignKey("fleet.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    building = models.ForeignKey("fleet.Building", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    appliance = models.ForeignKey("fleet.Appliance", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    since = models.DateField()
    until = models.DateField(null=True, blank=True)
    why = models.CharField(max_length=500)
    decided_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["since", "id"]
        constraints = [
            models.CheckConstraint(
                condition=(
                    models.Q(client__isnull=False, building__isnull=True, appliance__isnull=True)
                    | models.Q(client__isnull=True, building__isnull=False, appliance__isnull=True)
                    | models.Q(client__isnull=True, building__isnull=True, appliance__isnull=False)
                ),
                name="assignment_has_one_place",
            )
        ]


class StopLevels(models.Model):
    """Projected from a record: the contractor's own levels at which firing ends. Versioned, never empty."""

    id = models.UUIDField(primary_key=True)
    number = models.PositiveIntegerField(unique=True)
    co_ppm_air_free = models.FloatField()
    ambient_co_ppm = models.FloatField()
    ambient_co_rise_ppm = models.FloatField()
    co_rising_above_ppm = models.FloatField()
    spillage_min = models.FloatField()
    evidence = models.CharField(max_length=500)
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["number"]
