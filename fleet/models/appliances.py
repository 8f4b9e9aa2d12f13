"""Appliances, the sheet each is set by, and the flues they share; conversions to another gas, and days out of use."""

from datetime import date

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q

from fleet.models.buildings import Burnt, check_fuel
from fleet.models.register import RegisterEntry


class ModelSheet(RegisterEntry):
    """One model of appliance. What its manufacturer asks for stands in its versions; the newest counts today.

    Retired, no further appliance gets it; those that have it keep it.
    """

    name = models.CharField(max_length=200)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["name", "id"]

    def clean(self) -> None:
        """Two in use that have one name couldn't be told apart where an appliance is given one."""
        same = ModelSheet.objects.filter(name=self.name, retired_on__isnull=True).exclude(id=self.id)
        if self.retired_on is None and same.exists():
            raise ValidationError({"name": ValidationError("", code="sheet_of_name", params={"value": self.name})})

    @property
    def current(self) -> "SheetVersion | None":
        return max(self.versions.all(), key=lambda each: each.number, default=None)


class SheetVersion(models.Model):
    """Projected from a record: fuel, control, rates, targets, ceilings and adjusters as one document."""

    id = models.UUIDField(primary_key=True)
    sheet = models.ForeignKey(ModelSheet, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    content = models.JSONField()
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["sheet", "number"]
        constraints = [models.UniqueConstraint(fields=["sheet", "number"], name="sheet_version_number_once")]


class FlueGroup(RegisterEntry):
    """Appliances on one flue: found unsafe, it concerns them all."""

    building = models.ForeignKey("fleet.Building", on_delete=models.PROTECT, related_name="flue_groups")
    name = models.CharField(max_length=100)

    class Meta:
        ordering = ["name", "id"]


class Appliance(RegisterEntry):
    building = models.ForeignKey("fleet.Building", on_delete=models.PROTECT, related_name="appliances")
    sheet = models.ForeignKey(ModelSheet, null=True, blank=True, on_delete=models.PROTECT, related_name="appliances")
    name = models.CharField(max_length=100)
    kind = models.CharField(max_length=40, default="boiler")
    serial = models.CharField(max_length=100, blank=True)
    room = models.CharField(max_length=100, blank=True)
    fuel = models.CharField(max_length=40, blank=True, validators=[check_fuel])
    flue_group = models.ForeignKey(
        FlueGroup, null=True, blank=True, on_delete=models.PROTECT, related_name="appliances"
    )
    facts = models.JSONField(default=dict, blank=True)
    in_service_from = models.DateField()
    in_service_to = models.DateField(null=True, blank=True)
    replaces = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")

    class Meta:
        ordering = ["building", "name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(in_service_to__isnull=True) | Q(in_service_to__gte=F("in_service_from")),
                name="appliance_leaves_after_it_came",
            )
        ]

    def burns_on(self, day: date) -> Burnt:
        """Its own fuel if it has one, else what the building's pipe brought on that day."""
        return Burnt(self.fuel, {}) if self.fuel else self.building.gas_on(day)

    def in_service_on(self, day: date) -> bool:
        return self.in_service_from <= day and (self.in_service_to is None or day <= self.in_service_to)


def not_gone(day: date, path: str = "") -> Q:
    """In service on this day or to come: a removal that is planned ahead takes nothing away before its day."""
    return Q(**{f"{path}in_service_to__isnull": True}) | Q(**{f"{path}in_service_to__gte": day})


class GasConversion(models.Model):
    """Projected from a record: from that day the appliance burns another gas, by which kit, label and sheet."""

    id = models.UUIDField(primary_key=True)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="gas_conversions")
    converted_on = models.DateField()
    from_fuel = models.CharField(max_length=40)
    to_fuel = models.CharField(max_length=40)
    kit = models.CharField(max_length=200)
    label = models.CharField(max_length=200)
    analyser_fuel = models.CharField(max_length=40)
    sheet = models.ForeignKey("fleet.ModelSheet", null=True, on_delete=models.PROTECT, related_name="+")
    done_by = models.CharField(max_length=200)
    test_within_days = models.PositiveSmallIntegerField()
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["converted_on", "id"]


class OutOfUse(models.Model):
    """Projected from its newest record. From `begins` to the day before `ends`, which is the day of the restart."""

    id = models.UUIDField(primary_key=True)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="out_of_use")
    begins = models.DateField()
    ends = models.DateField(null=True)
    why = models.CharField(max_length=300)
    said_by = models.CharField(max_length=200)
    proof = models.CharField(max_length=300, blank=True)
    restart_said_by = models.CharField(max_length=200, blank=True)
    restart_proof = models.CharField(max_length=300, blank=True)
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "out of use"
        ordering = ["begins", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["appliance"], condition=Q(ends__isnull=True), name="out_of_use_once_at_a_time"
            ),
            models.CheckConstraint(
                condition=Q(ends__isnull=True) | Q(ends__gte=F("begins")), name="restart_not_before_it_stood_still"
            ),
        ]
