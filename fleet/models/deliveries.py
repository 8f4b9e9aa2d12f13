"""Deliveries: who must receive the record of a visit, by when, and how it was sent."""

from datetime import date

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from fleet.models.register import RegisterEntry, new_id


class Delivery(RegisterEntry):
    """One a visit, set and recipient. Open until `sent_at`; what failed or was corrected since returns to the office.

    One that was tried and that nobody has to send any more is not open either: `not_needed` says why.

    `tenancy` : the new tenancy before which it must be there; None where the visit alone asks for it.
    `due` : the last day by the set's clock.    `returned_why` : why it has to be sent again, empty where it hasn't.
    `steps`, `returned_why`, `not_needed` : codes and figures (`fleet.coded`).
    """

    visit = models.ForeignKey("fleet.Visit", on_delete=models.PROTECT, related_name="deliveries")
    limit_set = models.ForeignKey("fleet.LimitSet", on_delete=models.PROTECT, related_name="deliveries")
    tenancy = models.ForeignKey("fleet.Tenancy", null=True, on_delete=models.PROTECT, related_name="deliveries")
    recipient = models.CharField(max_length=100)
    due = models.DateField()
    steps = models.JSONField(default=list)
    opened_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    returned_why = models.JSONField(default=list, blank=True)
    not_needed = models.JSONField(default=list, blank=True)

    class Meta:
        verbose_name_plural = "deliveries"
        ordering = ["due", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["visit", "limit_set", "recipient"],
                condition=Q(tenancy__isnull=True),
                name="one_delivery_a_visit_and_recipient",
            ),
            models.UniqueConstraint(
                fields=["visit", "limit_set", "recipient", "tenancy"], name="one_delivery_a_tenancy_and_recipient"
            ),
        ]
        indexes = [models.Index(fields=["sent_at", "due"])]

    def is_overdue(self, day: date) -> bool:
        return self.is_open and self.due < day

    @property
    def is_open(self) -> bool:
        return self.sent_at is None and not self.not_needed


class Sending(models.Model):
    """One attempt to deliver: which record went to whom, how, by whom, and what proves it. A failed one stays."""

    class How(models.TextChoices):
        EMAIL = "email", _("by e-mail")
        POST = "post", _("by post")
        HAND = "by_hand", _("by hand")
        PORTAL = "portal", _("through a portal")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    delivery = models.ForeignKey(Delivery, on_delete=models.PROTECT, related_name="sendings")
    record = models.ForeignKey("fleet.Record", on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField()
    how = models.CharField(max_length=20, choices=How.choices)
    address = models.CharField(max_length=300)
    proof = models.CharField(max_length=500, blank=True)
    file = models.ForeignKey("fleet.StoredFile", null=True, on_delete=models.PROTECT, related_name="+")
    sent_by = models.ForeignKey("fleet.User", on_delete=models.PROTECT, related_name="+")
    failed_at = models.DateTimeField(null=True)
    failed_by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    failed_why = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["sent_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(failed_at__isnull=True) | Q(failed_at__gte=F("sent_at")), name="sending_fails_after_it_went"
            )
        ]
