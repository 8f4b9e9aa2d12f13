"""Who is told what: each alert of a flag, the list of who is told in which order, and everybody's own choices."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fleet.models.register import RegisterEntry, new_id


class Alert(models.Model):
    """One flag told to one person by one way, planned ahead: an unsent row says who is next.

    `alerted_from` is the flag's state that is told (its `updated_at`): where it gets worse, it is told anew. `round`
    counts from 0, the first run through the list; each later one tells everybody who may answer for it again.
    not_needed: the code of why it is not sent. failure: by name what the mail server did, empty where it took it.
    """

    class Way(models.TextChoices):
        EMAIL = "email", _("e-mail")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    flag = models.ForeignKey("fleet.Flag", on_delete=models.PROTECT, related_name="alerts")
    alerted_from = models.DateTimeField()
    round = models.PositiveSmallIntegerField()
    user = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    way = models.CharField(max_length=10, choices=Way.choices, default=Way.EMAIL)
    due_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    not_needed = models.CharField(max_length=40, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    failure = models.CharField(max_length=100, blank=True)

    class Meta:
        ordering = ["due_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["flag", "alerted_from", "round", "user", "way"], name="one_alert_a_round"),
            models.CheckConstraint(condition=Q(way__in=["email"]), name="alert_way_is_known"),
        ]
        indexes = [models.Index(fields=["flag", "sent_at"])]

    @property
    def is_open(self) -> bool:
        """Still to be sent."""
        return self.sent_at is None and not self.not_needed


class OnCall(RegisterEntry):
    """Somebody on the list of who is told about unsafe and stop level, and how many minutes after the first."""

    user = models.OneToOneField("fleet.User", on_delete=models.PROTECT, related_name="on_call")
    after_minutes = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["after_minutes", "id"]
        constraints = [models.CheckConstraint(condition=Q(after_minutes__lte=240), name="on_call_within_four_hours")]


class AlertSettings(models.Model):
    """How somebody wants the daily summary: whether, and at which hour of which place's day.

    time_zone: empty for the office's. told: keys of what stood at the last summary and was told, so that nothing is
    sent where nothing is new.
    """

    user = models.OneToOneField("fleet.User", primary_key=True, on_delete=models.PROTECT, related_name="alert_settings")
    daily_summary = models.BooleanField(default=True)
    hour = models.PositiveSmallIntegerField(default=7)
    time_zone = models.CharField(max_length=64, blank=True)
    told = models.JSONField(default=list, blank=True)
    daily_summary_sent_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(hour__lte=23), name="summary_hour_is_an_hour")]
