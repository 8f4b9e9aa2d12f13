"""Revisits: by when an appliance should be seen again, and why."""

from django.db import models

from fleet.models.register import RegisterEntry


class Revisit(RegisterEntry):
    """One proposal an appliance. `binding` says which reason set the last day; `reasons` lists them all."""

    appliance = models.OneToOneField("fleet.Appliance", on_delete=models.PROTECT, related_name="revisit")
    earliest = models.DateField()
    latest = models.DateField()
    binding = models.CharField(max_length=20)
    sentence = models.CharField(max_length=1000)
    reasons = models.JSONField(default=list)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["latest", "id"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(latest__gte=models.F("earliest")), name="revisit_window_is_in_order"
            ),
        ]
        indexes = [models.Index(fields=["latest"])]

    def __str__(self) -> str:
        return self.sentence
