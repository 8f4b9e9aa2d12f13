"""Limit sets: a law's, a standard's, a contract's or the trade's limits, in versions, reviewed by a named person."""

import uuid
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import Door, EntryDoor, EntryListDoor, ListDoor, found
from api.entries import EntryIn, EntryOut
from api.fields import Id, Whole
from api.filters import EXTERNAL_REFERENCE
from api.permissions import MANAGER
from api.recorded import post_recorded
from fleet import clock
from fleet.errors import Conflict
from fleet.intake.fields import StrictSerializer, Text
from fleet.intake.register import LimitSetIn, ReviewIn, read_limit_set
from fleet.models import LimitSet, LimitSetVersion
from fleet.queries.limits import all_limit_sets
from fleet.services.limits import add_limit_set_version, review_limit_set


class NamedLimitSetIn(EntryIn):
    key = serializers.SlugField(max_length=80)
    name = Text(200)


class LimitSetOut(EntryOut):
    key = serializers.CharField()
    name = serializers.CharField()
    current_number = serializers.IntegerField(source="current.number", default=None, allow_null=True)
    reviewed_by = serializers.CharField(
        source="current.reviewed_by", default="", help_text="Empty while nobody has reviewed what counts today."
    )


class NewLimitSetVersion(StrictSerializer):
    id = Id(required=False)
    content = LimitSetIn()


class Review(ReviewIn):
    number = Whole(1, 1_000_000, help_text="Which version was checked: the newest.")


class LimitSetVersionOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    limit_set = serializers.UUIDField(source="limit_set_id")
    number = serializers.IntegerField()
    content = serializers.DictField()
    evidence = serializers.CharField()
    reviewed_by = serializers.CharField()
    reviewed_on = serializers.DateField(allow_null=True)
    review_source = serializers.CharField()
    record = serializers.UUIDField(source="record_id")


class LimitSets(EntryListDoor):
    """All limit sets."""

    writers, model, shape_in, shape_out = MANAGER, LimitSet, NamedLimitSetIn, LimitSetOut
    filters = (EXTERNAL_REFERENCE,)

    def rows(self) -> QuerySet[LimitSet]:
        return all_limit_sets(self.viewer)


class OneLimitSet(EntryDoor):
    """One limit set. Its key stays."""

    writers, shape_in, shape_out, fixed = MANAGER, NamedLimitSetIn, LimitSetOut, ("id", "key")

    def rows(self) -> QuerySet[LimitSet]:
        return all_limit_sets(self.viewer)


class LimitSetVersions(ListDoor):
    """A set's versions; the newest counts today. Recorded, never edited; a new one is unreviewed."""

    writers, shape_in, shape_out, makes = MANAGER, NewLimitSetVersion, LimitSetVersionOut, True

    def rows(self) -> QuerySet[LimitSetVersion]:
        return self.limit_set().versions.all()

    def limit_set(self) -> LimitSet:
        limit_set: LimitSet = found(all_limit_sets(self.viewer), self.kwargs["id"])
        return limit_set

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409."""
        limit_set = self.limit_set()
        return post_recorded(
            self,
            kind="limit set version",
            model=LimitSetVersion,
            belongs={"limit_set": str(limit_set.id)},
            add=lambda new_id, values: add_limit_set_version(
                limit_set=limit_set,
                content=read_limit_set(values["content"]),
                actor=self.viewer,
                now=clock.now(),
                id=new_id,
            ),
        )


class LimitSetReview(Door):
    """A named person has checked the newest version against its source: the same content, as a reviewed version."""

    writers, shape_in, shape_out = MANAGER, Review, LimitSetVersionOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        limit_set = found(all_limit_sets(self.viewer), id)
        review = self.taken()
        number = review.pop("number")
        if limit_set.current is None or limit_set.current.number != number:
            raise Conflict("changed_meanwhile", f"Version {number} isn't the set's newest; read it again.")
        return self.shown(review_limit_set(limit_set=limit_set, review=review, actor=self.viewer, now=clock.now()))
