"""What each visit is worth as a check: made with its judgement, so that required checks need not read whole records."""

from django.db import models


class VisitCheck(models.Model):
    """One a visit: a cache, made again whenever the visit is judged or `made_with` is another version.

    counts: tested, and a reading of its own flue judged for CO; else `why_not` says, coded, what it lacked.
    answered: fields of the record that the record itself answers; conditions: of those under which a field is asked
    for, the ones that hold. used: analysers, people (ids, or as given where they aren't on the register) and the kind
    of fuel, by which the register tells whether the record is evidence. run_hours_h: the hour counter, where read.
    """

    visit = models.OneToOneField("fleet.Visit", primary_key=True, on_delete=models.CASCADE, related_name="check_made")
    appliance = models.ForeignKey(
        "fleet.Appliance", on_delete=models.CASCADE, related_name="checks_made", db_index=False
    )
    local_date = models.DateField()
    counts = models.BooleanField()
    why_not = models.JSONField(default=list)
    answered = models.JSONField(default=list)
    conditions = models.JSONField(default=list)
    used = models.JSONField(default=dict)
    run_hours_h = models.FloatField(null=True)
    made_with = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["local_date", "visit_id"]
        indexes = [models.Index(fields=["appliance", "local_date", "visit"], name="checks_of_an_appliance")]
