"""Background work as it stands: what is due, what is old, and whether the broker is heard."""

from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from fleet.models import Job
from fleet.models.jobs import HEARTBEAT

DONE_KEPT = timedelta(days=30)
HEARTBEATS_KEPT = timedelta(days=1)


def due_jobs(now: datetime) -> QuerySet[Job]:
    """Waiting and due, or running with a claim that ran out; a parent waits until no child is open."""
    open_child = Job.objects.filter(parent=OuterRef("pk"), state__in=[Job.State.WAITING, Job.State.RUNNING])
    waiting = Q(state=Job.State.WAITING, due_at__lte=now)
    abandoned = Q(state=Job.State.RUNNING, claimed_until__lt=now)
    return Job.objects.filter(waiting | abandoned).exclude(Exists(open_child)).order_by("is_bulk", "due_at", "id")


def old_jobs(now: datetime) -> QuerySet[Job]:
    """Done or cancelled long ago, and nobody's parent any more. Failed work stays until somebody has seen to it."""
    ended = Job.objects.filter(state__in=[Job.State.DONE, Job.State.CANCELLED])
    long_ago = Q(finished_at__lt=now - DONE_KEPT)
    beat = Q(kind=HEARTBEAT, is_slot=True, finished_at__lt=now - HEARTBEATS_KEPT)
    return ended.filter(long_ago | beat).exclude(Exists(Job.objects.filter(parent=OuterRef("pk"))))


def is_broker_unheard(now: datetime, within: timedelta) -> bool:
    """The broker took heartbeats in this time, they were done, and none of them came through it to a worker."""
    beats = Job.objects.filter(kind=HEARTBEAT, is_slot=True, due_at__gte=now - within)
    if beats.filter(carrier=Job.Carrier.BROKER).exists():
        return False
    return beats.filter(published_at__isnull=False, state=Job.State.DONE).count() >= 3
