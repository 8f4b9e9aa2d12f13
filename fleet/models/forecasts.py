"""Snapshots of what the whole population taught, and each appliance's forecast made with one."""

from django.db import models

from fleet.models.register import new_id


class Snapshot(models.Model):
    """Frozen hyper-parameters of one quantity at one rate; `in_force` on one snapshot a series.

    `biases` : what readings are off by through the analyser or the day, as `assess.foresight.panels.Corrections` has
    it, with the analysers' `checks`. `data_sha256` : of the series that it was learnt from; empty from assumptions.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    quantity = models.CharField(max_length=10)
    rate = models.CharField(max_length=20)
    parameters = models.JSONField()
    digest = models.CharField(max_length=64)
    series_count = models.PositiveIntegerField()
    biases = models.JSONField(default=dict, blank=True)
    data_sha256 = models.CharField(max_length=64, blank=True, default="")
    from_assumptions = models.BooleanField()
    made_at = models.DateTimeField()
    in_force = models.BooleanField(default=False)

    class Meta:
        ordering = ["-made_at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["quantity", "rate"], condition=models.Q(in_force=True), name="one_snapshot_in_force"
            )
        ]


class Forecast(models.Model):
    """One appliance, one quantity at one rate, towards where it should stay. Probabilities are of the truth.

    `unit` : % dry of a gas, corrected for intake air; ppm air-free of CO; K of the flue's rise above the intake air.
    `level`, `pace_per_year`, `pace_sd_per_year`, the corridor, `course` and `series` are in it. `lower`, `target` :
    None for what has a ceiling alone, and `limit` then says which that is: set_name, label, keeps, unit.
    `outlook` : what is said of it beside these, as `assess.foresight.forecasts.Outlook` has it.
    `course` holds what the chart draws: points {date, low90, low50, median, high50, high90}.
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
    unit = models.CharField(max_length=5)
    level = models.FloatField()
    pace_per_year = models.FloatField()
    pace_sd_per_year = models.FloatField()
    lower = models.FloatField(null=True)
    upper = models.FloatField()
    target = models.FloatField(null=True)
    limit = models.JSONField(null=True)
    accepted_risk = models.FloatField()
    horizon_on = models.DateField(null=True)
    outlook = models.JSONField(default=dict)
    crossing = models.JSONField(default=list)
    course = models.JSONField(default=list)
    series = models.JSONField(default=list)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["appliance", "rate", "quantity"]
        constraints = [models.UniqueConstraint(fields=["appliance", "quantity", "rate"], name="one_forecast_a_series")]

    @property
    def has_only_a_ceiling(self) -> bool:
        return self.lower is None


class ForecastCheck(models.Model):
    """What was forecast of a visit's reading from the visits before it, and what was found.

    `chance` : to be read outside the limits on that day.    `outside` : it was.
    `surprise` : (reading - forecast) / its standard deviation; None for one that is more likely an outlier, or to have
    followed a sudden step.    `ahead` : the snapshot was made before the visit came in, so this reading taught it
    nothing; such a row is never written anew.
    """

    visit = models.ForeignKey("fleet.Visit", on_delete=models.CASCADE, related_name="forecast_checks")
    quantity = models.CharField(max_length=10)
    rate = models.CharField(max_length=20)
    day = models.DateField()
    analyser = models.ForeignKey("fleet.Analyser", null=True, on_delete=models.PROTECT, related_name="+")
    snapshot = models.ForeignKey(Snapshot, on_delete=models.PROTECT, related_name="+")
    chance = models.FloatField()
    outside = models.BooleanField()
    surprise = models.FloatField(null=True)
    ahead = models.BooleanField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["visit", "quantity", "rate"], name="one_forecast_check_a_reading")
        ]
