"""Flue gas analysers, what they measure and how well, and every calibration."""

from datetime import date

from django.db import models

from fleet.models.register import RegisterEntry


class Analyser(RegisterEntry):
    class Co2(models.TextChoices):
        MEASURED = "measured"
        CALCULATED = "calculated"
        ABSENT = "absent"

    name = models.CharField(max_length=100)
    serial = models.CharField(max_length=100, blank=True)
    measures = models.JSONField(default=list, blank=True)
    co2 = models.CharField(max_length=12, choices=Co2.choices, default=Co2.CALCULATED)
    accuracy = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["name", "id"]

    def calibration_on(self, day: date) -> "Calibration | None":
        """The newest calibration up to this day, if it was passed and still in force: a failed one ends the others."""
        newest = self.newest_calibration(day)
        return newest if newest and newest.passed and day <= newest.valid_to else None

    def newest_calibration(self, day: date) -> "Calibration | None":
        """Passed or failed; of two on one day the one that was recorded later."""
        done = (each for each in self.calibrations.all() if each.done_on <= day)
        return max(done, key=lambda each: (each.done_on, each.id), default=None)


class Calibration(models.Model):
    """Projected from a record. `uncertainty`: the certificate's own expanded figures, in the shape of `accuracy`."""

    id = models.UUIDField(primary_key=True)
    analyser = models.ForeignKey(Analyser, on_delete=models.PROTECT, related_name="calibrations")
    done_on = models.DateField()
    valid_to = models.DateField()
    certificate = models.CharField(max_length=100)
    by = models.CharField(max_length=200)
    passed = models.BooleanField()
    uncertainty = models.JSONField(default=dict, blank=True)
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["done_on", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(valid_to__gte=models.F("done_on")), name="calibration_lasts_from_its_day"
            )
        ]
