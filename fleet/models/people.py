"""People who do the work, and what they are qualified for on which day."""

from datetime import date

from django.db import models

from fleet.combustion import FUELS
from fleet.models.register import RegisterEntry


def fuel_kind(fuel: str) -> str:
    """What a person must be qualified for to work on this fuel: gas or oil."""
    return "oil" if fuel in FUELS and not FUELS[fuel].composition else "gas"


class Person(RegisterEntry):
    user = models.OneToOneField("fleet.User", null=True, blank=True, on_delete=models.PROTECT, related_name="person")
    name = models.CharField(max_length=200)
    role = models.CharField(max_length=20, default="technician")
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField(blank=True)

    class Meta:
        ordering = ["name", "id"]

    def is_qualified(self, fuel_kind: str, day: date) -> bool:
        """For work on this kind of fuel on this day, by the qualifications on record."""
        return self.qualification_on(fuel_kind, day) is not None

    def qualification_on(self, fuel_kind: str, day: date) -> "Qualification | None":
        """The qualification for this kind of fuel that lasts longest of those in force on this day."""
        in_force = (
            each
            for each in self.qualifications.all()
            if fuel_kind in each.fuel_kinds and each.valid_from <= day <= each.valid_to
        )
        return max(in_force, key=lambda each: each.valid_to, default=None)


class Qualification(models.Model):
    """Projected from a record: what somebody may work on, from when to when."""

    id = models.UUIDField(primary_key=True)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="qualifications")
    scheme = models.CharField(max_length=100)
    number = models.CharField(max_length=100)
    fuel_kinds = models.JSONField(default=list)
    valid_from = models.DateField()
    valid_to = models.DateField()
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["valid_from", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_to__gte=models.F("valid_from")), name="qualification_ends_after_it_begins"
            )
        ]
