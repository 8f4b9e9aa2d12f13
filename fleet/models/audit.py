"""Who came in, who may come in since, what was taken out and what an auditor looked at."""

from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.register import new_id


class AuditEntry(models.Model):
    """Written once and never changed: triggers refuse it.

    user : whom it is about; none where a name was tried that is nobody's. by : who did it, where that is another.
    path : what was looked at or taken out, with its query. token : by which one, by its name; empty: in a browser.
    said : what changed, as code and figures.
    """

    class Kind(models.TextChoices):
        LOGGED_IN = "logged_in", _("logged in")
        LOG_IN_REFUSED = "log_in_refused", _("log-in refused")
        LOGGED_OUT = "logged_out", _("logged out")
        ACCESS_CHANGED = "access_changed", _("access changed")
        EXPORTED = "exported", _("taken out as a file")
        VIEWED = "viewed", _("looked at by an auditor")
        VIEW_REFUSED = "view_refused", _("refused to an auditor")

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    at = models.DateTimeField(db_index=True)
    kind = models.CharField(max_length=20, choices=Kind.choices)
    user = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="audited")
    by = models.ForeignKey("fleet.User", null=True, on_delete=models.PROTECT, related_name="+")
    path = models.CharField(max_length=1000, blank=True)
    token = models.CharField(max_length=100, blank=True)
    said = models.JSONField(default=list, blank=True)
    network = models.CharField(max_length=50, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        *("logged_in", "log_in_refused", "logged_out", "access_changed"),
                        *("exported", "viewed", "view_refused"),
                    ]
                ),
                name="audit_entry_kind_is_known",
            )
        ]
