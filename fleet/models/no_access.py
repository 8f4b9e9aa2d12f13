"""Somebody came and didn't get to the appliance: evidence that it was tried."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.register import new_id


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
