"""Marks: what is odd about an accepted visit, for the office to look at."""

import uuid
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, ListDoor, found
from api.filters import by_id, by_text, of_appliance, yes_no
from api.versions import version_named
from fleet import clock
from fleet.intake.fields import StrictSerializer, Text
from fleet.models import Mark
from fleet.presentation.follow_ups import mark_words
from fleet.queries.follow_ups import visible_marks
from fleet.queries.visits import visible_visits
from fleet.services.visits import settle_mark


class MarkOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    visit = serializers.UUIDField(source="visit_id")
    code = serializers.CharField()
    sentence = serializers.SerializerMethodField()
    figures = serializers.DictField()
    opened_at = serializers.DateTimeField()
    settled_at = serializers.DateTimeField(allow_null=True)
    settled_by = serializers.CharField(allow_null=True)
    settled_note = serializers.CharField()
    version = serializers.IntegerField()

    def get_sentence(self, mark: Mark) -> str:
        return mark_words(mark)


class SettleMarkIn(StrictSerializer):
    note = Text(500)


class Marks(ListDoor):
    """Marks on the visits that you may see."""

    subject, shape_out = "marks", MarkOut
    filters = (
        *of_appliance("visit__appliance"),
        by_id("visit", "visit", visible_visits),
        by_text("code", "code"),
        yes_no("open", Q(settled_at__isnull=True), "Not settled."),
    )

    def rows(self) -> QuerySet[Mark]:
        return visible_marks(self.viewer)


class SettleMark(Door):
    """Somebody looked at it and says what came of it. The visit itself is mended by an amendment."""

    subject, shape_in, shape_out, versioned = "marks", SettleMarkIn, MarkOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        mark = found(visible_marks(self.viewer), id)
        version, note = version_named(request), self.taken()["note"]
        return self.shown(settle_mark(mark=mark, version=version, note=note, actor=self.viewer, now=clock.now()))
