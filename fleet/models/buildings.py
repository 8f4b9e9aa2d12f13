"""Buildings: where the appliances stand, which gas came to them from which day, and when somebody new moves in."""

from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo, available_timezones

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q

from fleet.coded import wrong
from fleet.combustion import FUELS, Fuel, fuel_for
from fleet.models.register import RegisterEntry


class Burnt(NamedTuple):
    """What burns: a fuel's name, and for a gas that isn't one of ours by name its species as decimal texts."""

    name: str
    composition: dict[str, str]

    @property
    def fuel(self) -> Fuel:
        return fuel_for(self.name, self.composition)


def check_fuel(name: str) -> None:
    if name not in FUELS:
        raise ValidationError("", code="one_of", params=wrong("one_of", name, allowed=list(FUELS))[1])


def check_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError("", code="time_zone", params=wrong("time_zone", name)[1])


class Building(RegisterEntry):
    client = models.ForeignKey("fleet.Client", on_delete=models.PROTECT, related_name="buildings")
    name = models.CharField(max_length=200)
    address = models.CharField(max_length=300)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    altitude_m = models.FloatField(default=0)
    time_zone = models.CharField(max_length=64, validators=[check_time_zone])
    fuel = models.CharField(max_length=40, default="natural_gas", validators=[check_fuel])
    access_notes = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["name", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(altitude_m__gte=-450, altitude_m__lte=6000), name="building_altitude_is_on_land"
            )
        ]

    def today(self, now: datetime) -> date:
        """The day that it is there."""
        return now.astimezone(ZoneInfo(self.time_zone)).date()

    def gas_on(self, day: date) -> Burnt:
        """What its pipe brought on that day: its first fuel until a supply that began later takes over."""
        begun = [each for each in self.gas_supplies.all() if each.since <= day]
        newest = max(begun, key=lambda each: each.since, default=None)
        return newest.burnt if newest else Burnt(self.fuel, {})


class GasSupply(RegisterEntry):
    """From that day the building's gas is another: one of ours by name, or one by its composition.

    composition: species to mole fraction as decimal texts; empty where `fuel` is one of ours. What was judged keeps
    the gas that its record names.
    """

    building = models.ForeignKey(Building, on_delete=models.PROTECT, related_name="gas_supplies")
    since = models.DateField()
    fuel = models.CharField(max_length=40)
    composition = models.JSONField(default=dict, blank=True)
    source = models.CharField(max_length=300)

    class Meta:
        ordering = ["building", "since"]
        constraints = [models.UniqueConstraint(fields=["building", "since"], name="one_gas_supply_a_day")]

    def clean(self) -> None:
        try:
            named = self.burnt.fuel
        except ValueError as bad:
            name, code = ("composition", "composition") if self.composition else ("fuel", "one_of")
            figures = wrong(code, self.composition or self.fuel, allowed=list(FUELS))[1]
            raise ValidationError({name: ValidationError("", code=code, params=figures)}) from bad
        if self.composition and self.fuel in FUELS:
            figures = {"value": named.name}
            raise ValidationError({"fuel": ValidationError("", code="own_name_of_gas", params=figures)})

    @property
    def burnt(self) -> Burnt:
        return Burnt(self.fuel, self.composition)


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
