"""Work that must happen. This table is the only truth; a broker only carries ids of due rows."""

from django.db import models
from django.db.models import Q

from fleet.models.register import new_id

# Asked for each minute: the pulse by which one sees that work is taken up, and which way it came.
HEARTBEAT = "heartbeat"


class Job(models.Model):
    """Unique (kind, key) only while waiting, so that a request during a run makes a new row.

    `published_at` is when its id was last put on the broker: a hint needs no repeating each second. `token` guards the
    end of a run: a worker whose claim ran out can't finish over a newer one. A slot is a row that the timetable asked
    for: its key is the slot's own, and there is one row of it for good. Bulk work gives way to what somebody waits for.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"
        CANCELLED = "cancelled"

    class Carrier(models.TextChoices):
        BROKER = "broker"
        TABLE = "table"
        HAND = "hand"

    id = models.UUIDField(primary_key=True, default=new_id, editable=False)
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=100)
    args = models.JSONField(default=dict)
    is_slot = models.BooleanField(default=False)
    is_bulk = models.BooleanField(default=False)
    parent = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="children")
    due_at = models.DateTimeField()
    published_at = models.DateTimeField(null=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    carrier = models.CharField(max_length=10, choices=Carrier.choices, blank=True, default="")
    claimed_at = models.DateTimeField(null=True)
    claimed_until = models.DateTimeField(null=True)
    token = models.UUIDField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    progress = models.CharField(max_length=200, blank=True)
    cancel_requested = models.BooleanField(default=False)
    last_error = models.TextField(blank=True)
    failed_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["due_at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "key"], condition=Q(state="waiting"), name="one_waiting_job_a_key"),
            models.UniqueConstraint(fields=["kind", "key"], condition=Q(state="running"), name="one_running_job_a_key"),
            models.UniqueConstraint(fields=["kind", "key"], condition=Q(is_slot=True), name="one_job_a_slot"),
        ]
        indexes = [
            models.Index(fields=["state", "due_at"]),
            models.Index(fields=["finished_at"], condition=Q(state="done"), name="done_jobs_by_their_end"),
        ]
