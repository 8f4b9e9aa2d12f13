"""Background work: what waits, runs, is done or has failed after its tries; and trying it again or calling it off."""

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import ActDoor, Door, ListDoor, OneDoor
from api.filters import by_id, by_text, by_word
from api.shapes import RowOut
from fleet import clock
from fleet.models import Job
from fleet.queries.jobs import background_work, visible_jobs
from fleet.services.jobs import cancel_job, retry_job
from fleet.timetable import next_slots


class JobOut(RowOut):
    row = Job
    columns = (
        "id kind key parent state due_at tries claimed_at claimed_until progress cancel_requested last_error "
        "failed_at finished_at"
    )
    carrier = serializers.CharField(help_text="What brought it to its worker: broker, table or hand.")


class KindCountOut(serializers.Serializer[Any]):
    kind = serializers.CharField()
    waiting = serializers.IntegerField()
    running = serializers.IntegerField()
    failed = serializers.IntegerField()
    done = serializers.IntegerField(help_text="Within a day.")
    cancelled = serializers.IntegerField(help_text="Within a day.")


class PartsOut(serializers.Serializer[Any]):
    parent = serializers.UUIDField(source="parent.id")
    kind = serializers.CharField()
    ended = serializers.IntegerField()
    of = serializers.IntegerField()


class SlotOut(serializers.Serializer[Any]):
    kind = serializers.CharField()
    at = serializers.DateTimeField()


class BackgroundWorkOut(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    kinds = KindCountOut(many=True)
    oldest_due = serializers.DateTimeField(allow_null=True)
    heartbeat_at = serializers.DateTimeField(allow_null=True)
    broker_heartbeat_at = serializers.DateTimeField(allow_null=True)
    is_worked_on = serializers.BooleanField()
    is_heard = serializers.BooleanField()
    parts = PartsOut(many=True)
    next = serializers.SerializerMethodField()

    def get_next(self, work: Any) -> list[dict[str, Any]]:
        rows = [{"kind": kind, "at": when} for kind, when in next_slots(work.at)]
        return list(SlotOut(rows, many=True).data)


class BackgroundWorkNow(Door):
    """How background work stands: counts, the oldest that is due, heartbeats, work in parts, what comes next."""

    subject, shape_out = "background_work", BackgroundWorkOut

    def get(self, request: Request) -> Response:
        return self.shown(background_work(self.viewer, clock.now()))


class Jobs(ListDoor):
    """All background work."""

    subject, query, shape_out = "background_work", visible_jobs, JobOut
    filters = (
        by_word("state", "state", Job.State.values),
        by_text("kind", "kind"),
        by_text("key", "key"),
        by_id("parent", "parent", visible_jobs),
    )


class OneJob(OneDoor):
    """One job with its error in full."""

    subject, query, shape_out = "background_work", visible_jobs, JobOut


class RetryJob(ActDoor):
    """Try failed or cancelled work again from its first try. Where the same work already waits, that row will do it."""

    subject, query, shape_out = "background_work", visible_jobs, JobOut

    def act(self, thing: Job, version: int, said: dict[str, Any]) -> Job:
        return retry_job(job=thing, now=clock.now())


class CancelJob(ActDoor):
    """Call it off. What waits or has failed ends as cancelled; what runs stops before its effect is written."""

    subject, query, shape_out = "background_work", visible_jobs, JobOut

    def act(self, thing: Job, version: int, said: dict[str, Any]) -> Job:
        return cancel_job(job=thing, now=clock.now())
