"""Background work: what waits, runs, is done or has died after its tries."""

import uuid
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.filters import by_text, by_word
from api.permissions import MANAGER
from fleet import clock
from fleet.models import Job
from fleet.queries.jobs import visible_jobs
from fleet.services.jobs import retry_job


class JobOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    kind = serializers.CharField()
    key = serializers.CharField()
    state = serializers.CharField()
    due_at = serializers.DateTimeField()
    tries = serializers.IntegerField()
    progress = serializers.CharField()
    last_error = serializers.CharField()
    finished_at = serializers.DateTimeField(allow_null=True)


class Jobs(ListDoor):
    """All background work."""

    readers, shape_out = MANAGER, JobOut
    filters = (by_word("state", "state", Job.State.values), by_text("kind", "kind"))

    def rows(self) -> QuerySet[Job]:
        return visible_jobs(self.viewer)


class RetryJob(Door):
    """Try dead work again from its first try. Where the same work already waits, that row will do it."""

    readers, writers, shape_out = MANAGER, MANAGER, JobOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        job = found(visible_jobs(self.viewer), id)
        return self.shown(retry_job(job=job, now=clock.now()))
