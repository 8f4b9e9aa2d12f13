"""What a finding asks for by a day: a defect to be repaired or resolved, and another test within so many days."""

from datetime import date

from django.db import models
from django.db.models import Q

from fleet.models.register import RegisterEntry

# What nobody has repaired, no later visit has closed and no person has resolved.
STILL_OPEN = Q(done=False, closed_by__isnull=True, resolved_at__isnull=True)


class Defect(models.Model):
    """Projected from the visit that found it; closed by a later visit, or resolved by a named person with a reason.

    `repair_by` is what the visit recorded. `due` is the last day that counts, and `steps` how it comes about (coded):
    the earliest of what was recorded and what the sets of the visit ask for; without either the contractor's own.
    """

    class Severity(models.TextChoices):
        NOTE = "note"
        REPAIR = "repair"
        URGENT = "urgent"
        UNSAFE = "unsafe"

    id = models.UUIDField(primary_key=True)
    visit = models.ForeignKey("fleet.Visit", on_delete=models.PROTECT, related_name="defects")
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="defects")
    what = models.CharField(max_length=500)
    where = models.CharField(max_length=200, blank=True)
    severity = models.CharField(max_length=30)
    action = models.CharField(max_length=500, blank=True)
    done = models.BooleanField(default=False)
    repair_by = models.DateField(null=True)
    told = models.CharField(max_length=200, blank=True)
    closed_by = models.ForeignKey("fleet.Visit", null=True, on_delete=models.PROTECT, related_name="closes_defects")
    due = models.DateField(null=True)
    steps = models.JSONField(default=list, blank=True)
    resolved_at = models.DateTimeField(null=True)
    resolved_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    resolved_why = models.CharField(max_length=500, blank=True, default="")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["due", "repair_by", "id"]
        indexes = [models.Index(fields=["due"])]

    @property
    def is_open(self) -> bool:
        return not self.done and self.closed_by_id is None and self.resolved_at is None

    def is_overdue(self, day: date) -> bool:
        return self.is_open and self.due is not None and self.due < day


class Retest(RegisterEntry):
    """One a finding visit and set, by the retest clock of the set's version on that day.

    `done_by` is the first later check of the appliance: then the clock has ended, whatever that check found.
    steps: how its last day comes about, as codes and figures.
    """

    class Event(models.TextChoices):
        CO_OVER_LIMIT = "co_over_limit"
        CO_OVER_300 = "co_over_300"
        UNSAFE = "unsafe"

    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="retests")
    visit = models.ForeignKey("fleet.Visit", on_delete=models.PROTECT, related_name="retests")
    limit_set = models.ForeignKey("fleet.LimitSet", on_delete=models.PROTECT, related_name="retests")
    event = models.CharField(max_length=20)
    found_on = models.DateField()
    due = models.DateField()
    steps = models.JSONField(default=list)
    done_by = models.ForeignKey("fleet.Visit", null=True, on_delete=models.PROTECT, related_name="ends_retests")

    class Meta:
        ordering = ["due", "id"]
        constraints = [models.UniqueConstraint(fields=["visit", "limit_set"], name="one_retest_a_visit_and_set")]
