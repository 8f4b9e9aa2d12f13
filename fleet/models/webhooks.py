"""Webhooks: which events another program is sent, where to, and what came of each delivery."""

from urllib.parse import urlsplit

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.models.access import User
from fleet.models.register import RegisterEntry, new_id

TRIAL = "trial"


class EventKind(models.TextChoices):
    FLAG_OPENED = "flag_opened", _("a flag was opened")
    FLAG_ANSWERED = "flag_answered", _("somebody answers for a flag")
    FLAG_CLOSED = "flag_closed", _("a flag was closed")
    VISIT_RECORDED = "visit_recorded", _("a visit was recorded")
    VISIT_CORRECTED = "visit_corrected", _("a visit was corrected")
    REVISIT_CHANGED = "revisit_changed", _("a visit was planned or moved")
    DAY_BOOKED = "day_booked", _("a visit was booked for a day, or another technician named for it")
    DAY_TAKEN_BACK = "day_taken_back", _("the day of a planned visit was taken back")
    CHECK_COUNTED = "check_counted", _("a check counted")


class Webhook(RegisterEntry):
    """Off until somebody switches it on. `client` empty: the whole installation; else it carries that client's only.

    The secret is not kept: it is derived from the installation's key, the id and `secret_number`. `read_until` is how
    far the events have been gathered; `failing_since` the first failure after the last success; `switched_off_why` a
    code and its figures, empty where nobody but a person switched it off.
    """

    name = models.CharField(max_length=100)
    url = models.CharField(max_length=500)
    client = models.ForeignKey("fleet.Client", null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    kinds = models.JSONField(default=list)
    is_on = models.BooleanField(default=False)
    secret_number = models.PositiveIntegerField(default=1)
    on_since = models.DateTimeField(null=True, blank=True)
    read_until = models.DateTimeField(null=True, blank=True)
    failing_since = models.DateTimeField(null=True, blank=True)
    switched_off_why = models.JSONField(default=list, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    # Who answers for it since, instead of who made it.
    kept_by = models.ForeignKey("fleet.User", null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["name", "id"]

    @property
    def owner(self) -> User:
        """By whose rights it goes on: it tells nothing of clients that they may not see."""
        return self.kept_by or self.made_by

    @property
    def host(self) -> str:
        return urlsplit(self.url).hostname or ""


class AllowedTarget(models.Model):
    """A host that webhooks may reach although it is private, or by plain http: a manager said so, and why."""

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    host = models.CharField(max_length=253, unique=True)
    why = models.CharField(max_length=300)
    allowed_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    allowed_at = models.DateTimeField()

    class Meta:
        ordering = ["host"]


class HookDelivery(models.Model):
    """One event for one hook. `body` is what is signed and sent, the same at every try; `event` names it once.

    given_up: its receiver refused it for good, or it was a trial that failed; it is not sent again. failure: a code and
    its figures (`fleet.coded`), empty where nothing failed.
    """

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    hook = models.ForeignKey(Webhook, on_delete=models.CASCADE, related_name="deliveries")
    kind = models.CharField(max_length=30)
    event = models.CharField(max_length=120)
    body = models.TextField()
    made_at = models.DateTimeField()
    tried_at = models.DateTimeField(null=True)
    sent_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    status = models.PositiveSmallIntegerField(null=True)
    took_ms = models.PositiveIntegerField(null=True)
    answer_bytes = models.PositiveIntegerField(null=True)
    failure = models.JSONField(default=list, blank=True)
    given_up = models.BooleanField(default=False)

    class Meta:
        verbose_name_plural = "hook deliveries"
        ordering = ["id"]
        constraints = [models.UniqueConstraint(fields=["hook", "event"], name="one_delivery_an_event")]
        indexes = [
            models.Index(
                fields=["hook", "id"], condition=Q(sent_at__isnull=True, given_up=False), name="unsent_hook_deliveries"
            )
        ]
