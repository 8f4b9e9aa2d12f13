"""Tenancies: from which day somebody new lives with an appliance, where a set says that they must have its record."""

from django.db import models
from django.db.models import Q

from fleet.models.register import RegisterEntry


class Tenancy(RegisterEntry):
    """A tenancy of the whole building, or of the part that one appliance serves. Nobody's name is kept.

    `called_off` : why it does not begin after all; empty where it does.
    """

    building = models.ForeignKey("fleet.Building", on_delete=models.PROTECT, related_name="tenancies")
    appliance = models.ForeignKey(
        "fleet.Appliance", null=True, blank=True, on_delete=models.PROTECT, related_name="tenancies"
    )
    begins = models.DateField()
    source = models.CharField(max_length=300)
    called_off = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name_plural = "tenancies"
        ordering = ["begins", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["building", "begins"],
                condition=Q(appliance__isnull=True),
                name="one_tenancy_a_building_and_day",
            ),
            models.UniqueConstraint(
                fields=["appliance", "begins"],
                condition=Q(appliance__isnull=False),
                name="one_tenancy_an_appliance_and_day",
            ),
        ]
