"""Required checks: an appliance, a rule, and when that rule next falls due."""

from django.db import models
from django.db.models import Q

from fleet.models.register import RegisterEntry


class RequiredCheck(RegisterEntry):
    """`rule` is the typed interval rule; `due` is stored and recomputed when a fact changes.

    part: which rule of its set, where the set has several; empty for the set's own, and for what no set puts on it.
    list of required fields: by which list of fields a check must be complete to count for it; empty where the rule
    names none.
    rule_since: from which day it goes by this form of the rule. last_done: the last check that counted it.
    steps, cannot_tell: how the date comes about, and why it isn't certain, as codes and figures (`fleet.coded`).
    visited_on, not_counted, lacks: a later visit that did not, why (coded), and the fields that it lacks.
    suspended_since: out of use since then, so that nothing is due. ended_why: by this it is known whether it may
    stand again; empty while it stands.
    """

    class Ended(models.TextChoices):
        # A person did: it stays so until they or a new version of its set bring it back.
        BY_HAND = "by_hand"
        WITH_SET = "with_set"
        WITH_VERSION = "with_version"
        OUT_OF_SERVICE = "out_of_service"
        REPLACED = "replaced"
        CONVERTED_AGAIN = "converted_again"

    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="required_checks")
    assignment = models.ForeignKey(
        "fleet.LimitSetAssignment", null=True, blank=True, on_delete=models.PROTECT, related_name="required_checks"
    )
    part = models.CharField(max_length=80, blank=True, default="")
    name = models.CharField(max_length=200)
    source = models.CharField(max_length=20)
    rule = models.JSONField()
    since = models.DateField()
    until = models.DateField(null=True, blank=True)
    why = models.CharField(max_length=500)
    decided_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    due = models.DateField(null=True, blank=True)
    earliest_keep = models.DateField(null=True, blank=True)
    steps = models.JSONField(default=list, blank=True)
    cannot_tell = models.JSONField(default=list, blank=True)
    last_done = models.DateField(null=True, blank=True)
    required_fields = models.CharField(max_length=40, blank=True)
    rule_since = models.DateField(null=True, blank=True)
    visited_on = models.DateField(null=True, blank=True)
    not_counted = models.JSONField(default=list, blank=True)
    lacks = models.JSONField(default=list, blank=True)
    suspended_since = models.DateField(null=True, blank=True)
    ended_why = models.CharField(max_length=20, blank=True)

    class Meta:
        verbose_name_plural = "required_checks"
        ordering = ["due", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["appliance", "assignment", "part"],
                condition=Q(until__isnull=True),
                name="one_required_check_an_assignment_and_part",
            ),
            models.CheckConstraint(
                condition=Q(source__in=["limit_set", "contract", "manufacturer", "conversion"]),
                name="required_check_source_known",
            ),
        ]
        indexes = [models.Index(fields=["due"])]
