"""Buildings: where the appliances stand."""

from zoneinfo import available_timezones

from django.core.exceptions import ValidationError
from django.db import models

from fleet.combustion import FUELS
from fleet.models.register import RegisterEntry


def check_fuel(name: str) -> None:
    if name not in FUELS:
        raise ValidationError(f"is {name}; it must be one of {', '.join(FUELS)}")


def check_time_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError(f"is {name}; it must be a time zone's name such as Europe/Lisbon")


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
                condition=models.Q(altitude_m__gte=-450, altitude_m__lte=6000),
                name="building_altitude_is_on_land",
            ),
        ]

    def __str__(self) -> str:
        return self.name
