"""What a finding asks for: attention (a flag), repairing or resolving (a defect), another test within so many days."""

from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

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

    @property
    def stops(self) -> bool:
        """Declared unsafe, or left at a stop level: what was put right on the spot only stays listed."""
        return self.kind in (self.Kind.UNSAFE, self.Kind.STOP) and not self.figures.get("put_right")
