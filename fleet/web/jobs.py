"""Background work, for the manager: what failed, what runs, what waits and for how long, what comes next."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import clock
from fleet.assess.refusals import found
from fleet.errors import FleetError
from fleet.models import Job, Role
from fleet.presentation.codes import job_words, quantity_label
from fleet.presentation.words import at_rate, count_words, listed
from fleet.queries.jobs import MOST_SHOWN, BackgroundWork, background_work, visible_jobs
from fleet.services.jobs import cancel_job, retry_job
from fleet.timetable import next_slots
from fleet.web.guards import act, page, viewer_of

MANAGER = frozenset({Role.MANAGER})


@dataclass(frozen=True)
class JobRow:
    """One job in words."""

    job: Job
    name: str
    first_line: str


def _shown(request: HttpRequest, refused: FleetError | None = None, **_path: Any) -> HttpResponse:
    viewer, now = viewer_of(request), clock.now()
    work, mine = background_work(viewer, now), visible_jobs(viewer)
    shown = {
        "place": "installation",
        "refused": refused,
        "opening": opening(work),
        "pulse": pulse_words(work),
        "work": work,
        "failed": _rows(mine, Job.State.FAILED, "-finished_at"),
        "running": _rows(mine, Job.State.RUNNING, "claimed_at"),
        "waiting": _rows(mine, Job.State.WAITING, "due_at"),
        "parts": [(name_of(each.parent), job_words(each.kind), each) for each in work.parts],
        "kinds": [(job_words(each.kind), each) for each in work.kinds],
        "coming": [(job_words(kind), when) for kind, when in next_slots(now)],
        "most": MOST_SHOWN,
        "zone": settings.TIME_ZONE,
    }
    return render(request, "jobs.html", shown, status=refused.status if refused else 200)


@page("background_work")
def jobs(request: HttpRequest) -> HttpResponse:
    return _shown(request)


@act("background_work", place="background-work", refused=_shown)
def retry(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    return _acted(request, job_id, retry_job, _("It waits again: %s."))


@act("background_work", place="background-work", refused=_shown)
def cancel(request: HttpRequest, job_id: uuid.UUID) -> HttpResponse:
    return _acted(request, job_id, cancel_job, _("Cancelled, or asked to stop before it leaves anything: %s."))


def _acted(request: HttpRequest, job_id: uuid.UUID, action: Callable[..., Job], told: str) -> HttpResponse:
    job = found(visible_jobs(viewer_of(request)), job_id)
    action(job=job, now=clock.now())
    messages.success(request, told % name_of(job))
    return redirect("background-work")


def _rows(mine: QuerySet[Job], state: str, order: str) -> list[JobRow]:
    rows = mine.filter(state=state).order_by(order, "id")[:MOST_SHOWN]
    return [JobRow(each, name_of(each), (each.last_error.splitlines() or [""])[0]) for each in rows]


def name_of(job: Job) -> str:
    """What is done; what to is said only of a series, by its quantity and rate: other keys are ids or our own."""
    quantity, _slash, rate = job.key.partition("/")
    return f"{job_words(job.kind)}, {at_rate(quantity_label(quantity), rate)}" if rate else job_words(job.kind)


def opening(work: BackgroundWork) -> str:
    """The answer: whether anything has failed, whether anybody works, and what there is to do."""
    if work.failed:
        return ngettext(
            "%(count)s piece of background work has failed after its tries.",
            "%(count)s pieces of background work have failed after their tries.",
            work.failed,
        ) % {"count": count_words(work.failed).capitalize()}
    if not work.is_worked_on:
        return _("No worker takes up background work.")
    said = [(work.running, _("in hand")), (work.waiting, _("waiting"))]
    open_work = [f"{count_words(count)} {what}" for count, what in said if count]
    if not open_work:
        return _("All background work is done.")
    return _("Background work goes on: %s.") % listed(open_work)


def pulse_words(work: BackgroundWork) -> str:
    """Whether heartbeats come, and which way; how long what is due has lain."""
    if work.heartbeat_at is None:
        pulse = _("No heartbeat yet: is the worker started, and the clock?")
    elif not work.is_worked_on:
        age = length_words(work.at - work.heartbeat_at)
        pulse = _("The last heartbeat was done %s ago; one is due each minute. Start the worker and the clock.") % age
    elif not work.is_heard:
        pulse = _("Work is taken from the table: the broker brings none. It is late by some ten seconds, not lost.")
    else:
        pulse = _("The last heartbeat was done %s ago.") % length_words(work.at - work.heartbeat_at)
    if work.oldest_due is None:
        return pulse
    return f"{pulse} {_('The oldest work that is due has waited %s.') % length_words(work.at - work.oldest_due)}"


def length_words(length: timedelta) -> str:
    """A stretch of time in its largest whole unit.

    >>> length_words(timedelta(seconds=90))
    '1 minute'
    """
    seconds = max(0, int(length.total_seconds()))
    if seconds >= 86400:
        return ngettext("%d day", "%d days", seconds // 86400) % (seconds // 86400)
    if seconds >= 3600:
        return ngettext("%d hour", "%d hours", seconds // 3600) % (seconds // 3600)
    if seconds >= 60:
        return ngettext("%d minute", "%d minutes", seconds // 60) % (seconds // 60)
    return ngettext("%d second", "%d seconds", seconds) % seconds
