"""Revisits: by when an appliance should be seen again, and why; the day it is set for, what its occupier knows; and
attempts without access, evidence that it was tried."""

from datetime import date

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from fleet.models.register import RegisterEntry, new_id

DRIFT = "drift"


def late_on(today: date) -> Q:
    """Revisits that are late; as `Revisit.is_late`."""
    return Q(latest__lt=today) & ~Q(date_set_by=DRIFT)


class Revisit(RegisterEntry):
    """One proposal an appliance. `date_set_by` says which reason set the last day, `why` what it is, as code and
    figures; `reasons` lists them all.

    earliest, latest : from when coming costs no anniversary, and the last day.
    otherwise_by : the last day by all reasons that don't count against the extra visits; None where there is none.
    drift_by : the earliest day by drift that does count, where that is before `otherwise_by`; else None.
    extra : "within" the contractor's extra visits, in the week of `extra_week` where it takes one; "beyond" them: then
        drift sets no date, and `accepted_risk` is the chance of being outside before `accepted_until`.
    urgency : what it is for counts whole, the chance of being outside is added; `urgency_of`: both by name.
    state, day, technician : set for a day by a person, and who goes, where somebody is named. A refresh never moves it.
    no_access : attempts since the last visit that got to the appliance.
    """

    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed")
        BOOKED = "booked", _("booked")
        CONFIRMED = "confirmed", _("confirmed")

    class Extra(models.TextChoices):
        NONE = "", _("no extra visit")
        WITHIN = "within", _("within the extra visits")
        BEYOND = "beyond", _("beyond the extra visits")

    appliance = models.OneToOneField("fleet.Appliance", on_delete=models.PROTECT, related_name="revisit")
    earliest = models.DateField()
    latest = models.DateField()
    date_set_by = models.CharField(max_length=20)
    why = models.JSONField(default=list)
    reasons = models.JSONField(default=list)
    made_at = models.DateTimeField()
    otherwise_by = models.DateField(null=True)
    drift_by = models.DateField(null=True)
    extra = models.CharField(max_length=10, choices=Extra.choices, blank=True, default="")
    extra_week = models.DateField(null=True)
    accepted_risk = models.FloatField(null=True)
    accepted_until = models.DateField(null=True)
    urgency = models.FloatField(default=0)
    urgency_of = models.JSONField(default=dict, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.PROPOSED)
    day = models.DateField(null=True)
    technician = models.ForeignKey("fleet.Person", null=True, on_delete=models.PROTECT, related_name="+")
    set_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=500, blank=True, default="")
    no_access = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["latest", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(latest__gte=F("earliest")), name="revisit_window_is_in_order"),
            models.CheckConstraint(
                condition=Q(state="proposed", day__isnull=True)
                | Q(state__in=["booked", "confirmed"], day__isnull=False),
                name="revisit_is_set_for_a_day",
            ),
            models.CheckConstraint(
                condition=Q(technician__isnull=True) | Q(day__isnull=False), name="who_goes_goes_on_a_day"
            ),
        ]
        indexes = [models.Index(fields=["latest"]), models.Index(fields=["drift_by"])]

    @property
    def is_set(self) -> bool:
        return self.state != self.State.PROPOSED

    def is_late(self, today: date) -> bool:
        """Nobody is late by a forecast: where one set the last day and it is over, the risk is today's."""
        return self.latest < today and self.date_set_by != DRIFT

    @property
    def needed_before_its_day(self) -> bool:
        """A reason has come up that ends before the day it is set for."""
        return self.day is not None and self.latest < self.day

    def has_passed(self, today: date) -> bool:
        """The day it was set for is over, and nobody got to the appliance."""
        return self.day is not None and self.day < today


class OccupierNotice(models.Model):
    """What the occupier was told or agreed to: the day, when and how they heard, how many days ahead they must.

    Never changed: another day needs another notice.
    """

    class Kind(models.TextChoices):
        TOLD = "told", _("told")
        AGREED = "agreed", _("agreed")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="occupier_notices")
    day = models.DateField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    given_on = models.DateField()
    how = models.CharField(max_length=200)
    notice_days = models.PositiveSmallIntegerField(default=0)
    by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-recorded_at", "id"]


class NoAccess(models.Model):
    """One attempt at one appliance. Never changed: it is evidence of reasonable steps."""

    class Kind(models.TextChoices):
        NOBODY_IN = "nobody_in", _("nobody in")
        REFUSED = "refused", _("refused")
        NO_KEY = "no_key", _("no key")
        OFF = "gas_or_power_off", _("gas or power off")
        UNSAFE = "unsafe_to_enter", _("unsafe to enter")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    appliance = models.ForeignKey("fleet.Appliance", on_delete=models.PROTECT, related_name="no_access")
    at = models.DateTimeField()
    local_date = models.DateField()
    kind = models.CharField(max_length=20, choices=Kind.choices)
    note = models.CharField(max_length=500, blank=True)
    letter = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "no access"
        ordering = ["-at", "id"]
        constraints = [models.UniqueConstraint(fields=["appliance", "at"], name="one_attempt_a_moment")]
