"""Background work, for whoever runs the installation."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q, QuerySet

from fleet.assess.jobs import due_jobs
from fleet.models import Job, User
from fleet.models.access import may_see
from fleet.models.jobs import HEARTBEAT

LATELY = timedelta(days=1)
HEARTBEAT_LATE = timedelta(minutes=5)
OPEN = (Job.State.WAITING, Job.State.RUNNING)
MOST_SHOWN = 100


@dataclass(frozen=True)
class KindCount:
    """How much of one kind there is; done and cancelled count for a day."""

    kind: str
    waiting: int
    running: int
    failed: int
    done: int
    cancelled: int


@dataclass(frozen=True)
class Parts:
    """Work of one kind that something larger asked for: how much of it has ended."""

    parent: Job
    kind: str
    ended: int
    of: int


@dataclass(frozen=True)
class BackgroundWork:
    """All of it at a moment. Heartbeats: when a worker last did one, and when one last came through the broker."""

    at: datetime
    kinds: tuple[KindCount, ...]
    oldest_due: datetime | None
    heartbeat_at: datetime | None
    broker_heartbeat_at: datetime | None
    parts: tuple[Parts, ...]

    @property
    def waiting(self) -> int:
        return sum(each.waiting for each in self.kinds)

    @property
    def running(self) -> int:
        return sum(each.running for each in self.kinds)

    @property
    def failed(self) -> int:
        return sum(each.failed for each in self.kinds)

    @property
    def is_worked_on(self) -> bool:
        """A worker has done a heartbeat lately: one is asked for each minute."""
        return self.heartbeat_at is not None and self.at - self.heartbeat_at <= HEARTBEAT_LATE

    @property
    def is_heard(self) -> bool:
        """One came through the broker lately; where not, work is late by some ten seconds and nothing is lost."""
        return self.broker_heartbeat_at is not None and self.at - self.broker_heartbeat_at <= HEARTBEAT_LATE


def visible_jobs(viewer: User) -> QuerySet[Job]:
    if not may_see(viewer, "background_work"):
        return Job.objects.none()
    return Job.objects.all()


def failed_jobs(viewer: User) -> QuerySet[Job]:
    """What has failed after its tries, and nobody has seen to yet."""
    return visible_jobs(viewer).filter(state=Job.State.FAILED)


def background_work(viewer: User, now: datetime) -> BackgroundWork:
    mine = visible_jobs(viewer)
    waiting = due_jobs(now).filter(state=Job.State.WAITING, id__in=mine)
    beats = mine.filter(kind=HEARTBEAT, is_slot=True, state=Job.State.DONE).order_by("-key")
    return BackgroundWork(
        at=now,
        kinds=_counts(mine, now),
        oldest_due=waiting.order_by("due_at").values_list("due_at", flat=True).first(),
        heartbeat_at=beats.values_list("finished_at", flat=True).first(),
        broker_heartbeat_at=beats.filter(carrier=Job.Carrier.BROKER).values_list("finished_at", flat=True).first(),
        parts=_parts(mine),
    )


def _counts(mine: QuerySet[Job], now: datetime) -> tuple[KindCount, ...]:
    unended = Q(state__in=[*OPEN, Job.State.FAILED])
    lately = Q(state__in=[Job.State.DONE, Job.State.CANCELLED], finished_at__gte=now - LATELY)
    found: dict[str, dict[str, int]] = {}
    for rows in (mine.filter(unended), mine.filter(lately)):
        for kind, state, count in rows.order_by().values_list("kind", "state").annotate(count=Count("id")):
            found.setdefault(kind, dict.fromkeys(Job.State.values, 0))[state] = count
    return tuple(KindCount(kind, **states) for kind, states in sorted(found.items()))


def _parts(mine: QuerySet[Job]) -> tuple[Parts, ...]:
    """Of everything that has open parts: how many of each kind have ended."""
    asking = mine.filter(id__in=Job.objects.filter(state__in=OPEN, parent__isnull=False).values("parent"))
    parents = {each.id: each for each in asking.order_by("id")[:MOST_SHOWN]}
    children = Job.objects.filter(parent__in=parents).order_by().values("parent_id", "kind")
    counted = children.annotate(of=Count("id"), open=Count("id", filter=Q(state__in=OPEN)))
    rows = [Parts(parents[each["parent_id"]], each["kind"], each["of"] - each["open"], each["of"]) for each in counted]
    return tuple(sorted(rows, key=lambda each: (each.parent.id, each.kind)))
