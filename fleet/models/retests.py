"""Retests: after a finding a set asks for another test within so many days."""

from django.db import models

from fleet.models.register import RegisterEntry


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
