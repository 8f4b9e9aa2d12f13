"""The contractor whose installation this is: one row."""

from django.db import models

# By severity within how many days a defect is to be repaired where neither the visit nor a set says. The contractor's
# own choice; no published figure.
FIRST_REPAIR_WITHIN_DAYS = {"unsafe": 0, "urgent": 14, "repair": 28}


def first_repair_within_days() -> dict[str, int]:
    return dict(FIRST_REPAIR_WITHIN_DAYS)


class Contractor(models.Model):
    """Name and address for pages and paper; the numbers to call on a gas smell; what chance is accepted.

    `accepted_risk` is the chance of being outside at the revisit, `accepted_risk_co` the same of CO beyond a limit
    (never taken above the other) and `accepted_risk_rise` of the flue's temperature; `flag_at` the chance before the
    next planned visit from which a drift flag opens; `extra_visits_a_week` how many can be made for drift alone;
    `outside_within_days` within how many days an appliance left outside a limit is seen again; `repair_within_days` by
    severity the same of a defect; `steadiness` what a reading's series must keep to be steady, empty for the defaults
    of `combustion.Criterion`. All are the contractor's own choice.
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    name = models.CharField(max_length=200)
    address = models.CharField(max_length=300, blank=True)
    emergency_numbers = models.JSONField(default=list, blank=True)
    accepted_risk = models.FloatField(default=0.08)
    accepted_risk_co = models.FloatField(default=0.02)
    accepted_risk_rise = models.FloatField(default=0.15)
    flag_at = models.FloatField(default=0.30)
    extra_visits_a_week = models.PositiveSmallIntegerField(default=6)
    outside_within_days = models.PositiveSmallIntegerField(default=14)
    repair_within_days = models.JSONField(default=first_repair_within_days, blank=True)
    steadiness = models.JSONField(default=dict, blank=True)
    is_demo = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(id=1), name="one_contractor"),
            *(
                models.CheckConstraint(
                    condition=models.Q((f"{name}__gt", 0), (f"{name}__lt", 1)), name=f"{name}_is_a_chance"
                )
                for name in ("accepted_risk", "flag_at", "accepted_risk_co", "accepted_risk_rise")
            ),
        ]
