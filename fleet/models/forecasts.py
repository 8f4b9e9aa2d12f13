"""Snapshots of what the whole population taught, and each appliance's forecast made with one."""

from django.db import models

from fleet.models.register import new_id


class Snapshot(models.Model):
    """Frozen hyper-parameters of one quantity at one rate; `in_force` on one snapshot a series."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    quantity = models.CharField(max_length=10)
    rate = models.CharField(max_length=20)
    parameters = models.JSONField()
    digest = models.CharField(max_length=64)
    series_count = models.PositiveIntegerField()
    from_assumptions = models.BooleanField()
    made_at = models.DateTimeField()
    in_force = models.BooleanField(default=False)

    class Meta:
        ordering = ["-made_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["quantity", "rate"], condition=models.Q(in_force=True), name="one_snapshot_in_force"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.rate} {self.digest[:12]}"


class Forecast(models.Model):
    """One appliance, one quantity at one rate. Readings corrected for intake air; probabilities are of the truth.

    `course` holds what the chart draws: points {date, low, median, high} for 50 and 90 of 100 outcomes.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="forecasts")
    quantity = models.CharField(max_length=10)
    rate = models.CharField(max_length=20)
    snapshot = models.ForeignKey(Snapshot, on_delete=models.PROTECT, related_name="forecasts")
    sheet_version = models.ForeignKey("fleet.SheetVersion", on_delete=models.PROTECT, related_name="+")
    last_visit_on = models.DateField()
    visits_used = models.PositiveSmallIntegerField()
    basis = models.CharField(max_length=30)
    level_pct = models.FloatField()
    drift_pct_per_year = models.FloatField()
    drift_sd_pct_per_year = models.FloatField()
    lower_pct = models.FloatField(null=True)
    upper_pct = models.FloatField(null=True)
    target_pct = models.FloatField()
    accepted_chance = models.FloatField()
    horizon_on = models.DateField(null=True)
    crossing = models.JSONField(default=list)
    course = models.JSONField(default=list)
    series = models.JSONField(default=list)
    sentence = models.CharField(max_length=500)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["appliance", "rate", "quantity"]
        constraints = [
            models.UniqueConstraint(fields=["appliance", "quantity", "rate"], name="one_forecast_a_series"),
        ]

    def __str__(self) -> str:
        return self.sentence
