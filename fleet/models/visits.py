"""Visits (one appliance at one attendance), their readings and work, and what the office must look at."""

from datetime import datetime

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.combustion import Fuel, fuel_for
from fleet.models.register import new_id

# Work after which the readings before it say nothing about how the burner burns now.
MOVES_COMBUSTION = frozenset({"adjustment", "cleaning", "reseal", "nozzle", "part", "gas_conversion"})
# Unless it concerned one of these alone: through them nothing of the burner's gas and air passes.
MOVES_NONE = frozenset({"condensate_trap", "filter", "electrode", "adjuster_cap"})
ADJUSTMENT = "adjustment"


def moves_combustion(kind: str, concerned: str) -> bool:
    """Work of that kind on that part; a turned screw always does, a cap put back on it never."""
    return kind in MOVES_COMBUSTION and (kind == ADJUSTMENT or concerned not in MOVES_NONE)


class Visit(models.Model):
    """Projected from its newest record. `local_date` is the site's date of the last counted reading.

    `card_seen` is the card as the phone showed it to the signer, with the outcome it came to. `fuel` with its
    `fuel_composition` and `sheet` are what burnt and the sheet that the appliance had, as the record names them.
    `inspection_points` answers fields of the record that nothing else in it does, by the field's name.
    """

    class Outcome(models.TextChoices):
        TESTED = "tested", _("tested")
        PARTLY = "partly_tested", _("partly tested")
        NOT_TESTED = "not_tested", _("not tested")

    class Disposition(models.TextChoices):
        IN_USE = "left_in_use", _("left in use")
        OFF = "left_off", _("left off")
        ISOLATED = "isolated", _("isolated and labelled")
        NOT_TOUCHED = "not_touched", _("not touched")

    id = models.UUIDField(primary_key=True)
    attendance = models.ForeignKey("fleet.Attendance", on_delete=models.PROTECT, related_name="visits")
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="visits")
    local_date = models.DateField()
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    outcome_reason = models.CharField(max_length=500, blank=True)
    disposition = models.CharField(max_length=20, choices=Disposition.choices)
    left_as_found = models.BooleanField(default=False)
    unsafe = models.BooleanField(default=False)
    unsafe_details = models.JSONField(default=dict)
    data_plate = models.JSONField(default=dict)
    card_seen = models.JSONField(default=dict)
    restore_steps = models.JSONField(default=list)
    not_done = models.JSONField(default=list)
    fuel = models.CharField(max_length=40)
    fuel_composition = models.JSONField(default=dict)
    sheet = models.ForeignKey("fleet.ModelSheet", null=True, on_delete=models.PROTECT, related_name="+")
    note = models.TextField(blank=True)
    signed_by = models.ForeignKey("fleet.Person", null=True, on_delete=models.PROTECT, related_name="+")
    signed_at = models.DateTimeField(null=True)
    ambient_co_before_ppm = models.FloatField(null=True)
    ambient_co_after_ppm = models.FloatField(null=True)
    outdoor_temp_c = models.FloatField(null=True)
    barometric_pressure_pa = models.FloatField(null=True)
    air_humidity_pct = models.FloatField(null=True)
    zero_o2_pct = models.FloatField(null=True)
    zero_co_ppm = models.FloatField(null=True)
    run_hours_h = models.FloatField(null=True)
    condition_qualifiers = models.JSONField(default=dict)
    inspection_points = models.JSONField(default=dict)
    record = models.OneToOneField("fleet.Record", on_delete=models.PROTECT, related_name="visit")

    class Meta:
        ordering = ["-local_date", "-id"]
        indexes = [models.Index(fields=["appliance", "local_date"])]

    @property
    def burnt(self) -> Fuel:
        return fuel_for(self.fuel, self.fuel_composition)

    @property
    def last_moment(self) -> datetime:
        """When it ended, for the order of visits of one day: last reading, else leaving, else arriving."""
        taken = [each.taken_at for each in self.readings.all() if each.taken_at]
        ended = max(taken, default=self.attendance.left_at or self.attendance.arrived_at)
        assert ended is not None  # an attendance is only stored with its arrival
        return ended


class Reading(models.Model):
    """One reading at one rate. Floats in the unit of the column's name; `qualifiers` holds what isn't plain '='.

    `phase` is what the technician said; `counted_phase` what the order of readings and work makes of it: a reading
    before the last adjustment isn't as left, one after somebody's adjustment isn't as found. `steadiness` is what the
    technician said, `series` what the analyser logged, `analyser_fuel` the fuel that it was set to.
    """

    id = models.UUIDField(primary_key=True)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="readings")
    number = models.PositiveSmallIntegerField()
    phase = models.CharField(max_length=12)
    counted_phase = models.CharField(max_length=12, blank=True)
    rate = models.CharField(max_length=20)
    rate_set_by = models.CharField(max_length=40, blank=True)
    rate_proven_by = models.CharField(max_length=40, blank=True)
    casing = models.CharField(max_length=8, blank=True)
    sampling_point = models.CharField(max_length=40)
    also_running = models.JSONField(default=list)
    taken_at = models.DateTimeField(null=True)
    time_precision = models.CharField(max_length=10)
    steadiness = models.CharField(max_length=20, default="not_shown")
    series = models.JSONField(null=True)
    analyser_fuel = models.CharField(max_length=40, blank=True)
    analyser = models.ForeignKey("fleet.Analyser", null=True, on_delete=models.PROTECT, related_name="readings")
    analyser_given = models.CharField(max_length=100)
    person = models.ForeignKey("fleet.Person", null=True, on_delete=models.PROTECT, related_name="readings")
    person_given = models.CharField(max_length=100)
    qualifiers = models.JSONField(default=dict)
    gas_rate = models.JSONField(null=True)
    input_kw_gross = models.FloatField(null=True)

    o2_pct = models.FloatField(null=True)
    co2_pct = models.FloatField(null=True)
    co_ppm = models.FloatField(null=True)
    no_ppm = models.FloatField(null=True)
    nox_ppm = models.FloatField(null=True)
    flue_temp_c = models.FloatField(null=True)
    air_temp_c = models.FloatField(null=True)
    draught_fire_pa = models.FloatField(null=True)
    draught_pa = models.FloatField(null=True)
    ambient_co_ppm = models.FloatField(null=True)
    intake_o2_pct = models.FloatField(null=True)
    intake_co2_pct = models.FloatField(null=True)
    gas_pressure_standing_pa = models.FloatField(null=True)
    gas_pressure_working_pa = models.FloatField(null=True)
    burner_pressure_pa = models.FloatField(null=True)
    flow_temp_c = models.FloatField(null=True)
    return_temp_c = models.FloatField(null=True)
    spillage_min = models.FloatField(null=True)
    smoke_spot = models.FloatField(null=True)
    oil_pressure_pa = models.FloatField(null=True)
    oil_derivatives = models.BooleanField(null=True)
    flame_unstable = models.BooleanField(default=False)

    class Meta:
        ordering = ["visit", "number"]
        constraints = [models.UniqueConstraint(fields=["visit", "number"], name="reading_number_once_a_visit")]
        # By these a copied reading is looked for among all others.
        indexes = [models.Index(fields=["flue_temp_c", "co_ppm"], name="reading_like_another")]

    @property
    def rate_proven(self) -> bool:
        return self.rate_proven_by not in ("", "not_proven")


class WorkItem(models.Model):
    """What was done between readings: an adjuster turned, a burner cleaned, a part changed.

    `component` is what the technician wrote of the part, `concerned` its code where one was given.
    """

    id = models.UUIDField(primary_key=True)
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="work")
    number = models.PositiveSmallIntegerField()
    after_reading = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=20)
    component = models.CharField(max_length=100, blank=True)
    concerned = models.CharField(max_length=20, blank=True)
    replaced = models.BooleanField(default=False)
    adjuster = models.CharField(max_length=100, blank=True)
    rate = models.CharField(max_length=20, blank=True)
    direction = models.CharField(max_length=20, blank=True)
    amount = models.CharField(max_length=60, blank=True)
    turns = models.FloatField(null=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["visit", "number"]

    @property
    def moves_combustion(self) -> bool:
        return moves_combustion(self.kind, self.concerned)


class Question(models.Model):
    """Something about an accepted visit that a person in the office must look at. Accepted, never refused.

    Its sentence is made of `code` and `figures` by `presentation.follow_ups`.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="questions")
    code = models.CharField(max_length=40)
    figures = models.JSONField(default=dict)
    opened_at = models.DateTimeField()
    resolved_at = models.DateTimeField(null=True)
    resolved_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    resolved_note = models.CharField(max_length=500, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["id"]


class Attendance(models.Model):
    """The phone makes its id. Projected from the records of its visits; `people` are ids as given by the phone."""

    id = models.UUIDField(primary_key=True)
    building = models.ForeignKey("fleet.Building", on_delete=models.PROTECT, related_name="attendances")
    people = models.JSONField(default=list)
    arrived_at = models.DateTimeField(null=True)
    left_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-arrived_at", "id"]
