"""Limit sets: a law's, a standard's, a contract's or the trade's limits, in versions, reviewed by a named person; what
a new version would change, beforehand."""

import uuid
from typing import Any

from django.db.models import Q, QuerySet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.consequences import COMPARED, DifferencesOut, PreviewOut, numbers_compared
from api.doors import Door, EntryDoor, EntryListDoor, ListDoor, found, named_once
from api.exchange import LimitSetFileOut, as_file
from api.fields import DayOf, Id, Whole
from api.filters import EXTERNAL_REFERENCE, yes_no
from api.recorded import post_recorded
from api.shapes import EntryIn, EntryOut, RowOut
from api.versions import version_named
from fleet import clock
from fleet.errors import NotFound
from fleet.intake.fields import StrictSerializer, Text
from fleet.intake.limit_sets import LimitSetIn, ReviewIn, read_limit_set
from fleet.models import LimitSet, LimitSetVersion
from fleet.presentation.contents import limit_set_differences
from fleet.queries.consequences import preview_limit_set
from fleet.queries.sheets import all_limit_sets
from fleet.services.exchange import LIMIT_SET_FILE
from fleet.services.limit_sets import add_limit_set_version, change_limit_set, copy_limit_set, review_limit_set
from fleet.services.register import create_once


class NamedLimitSetIn(EntryIn):
    key = serializers.SlugField(max_length=80)
    name = Text(200)


class LimitSetChange(NamedLimitSetIn):
    retired_on = DayOf(
        required=False, allow_null=True, help_text="From then on it is assigned nowhere more; null takes it back."
    )


class LimitSetOut(EntryOut):
    row, columns = LimitSet, "key name retired_on"
    current_number = serializers.IntegerField(source="current.number", default=None, allow_null=True)
    reviewed_by = serializers.CharField(
        source="current.reviewed_by", default="", help_text="Empty while nobody has reviewed what counts today."
    )


class NewLimitSetVersion(StrictSerializer):
    id = Id(required=False)
    content = LimitSetIn()


class Review(ReviewIn):
    number = Whole(1, 1_000_000, help_text="Which version was checked: the newest.")


class LimitSetVersionOut(RowOut):
    row, columns = LimitSetVersion, "id limit_set number evidence reviewed_by reviewed_on review_source record"
    content = serializers.DictField()


class LimitSets(EntryListDoor):
    """All limit sets."""

    subject, model, shape_in, shape_out = "limit_sets", LimitSet, NamedLimitSetIn, LimitSetOut
    filters = (EXTERNAL_REFERENCE, yes_no("retired", Q(retired_on__isnull=False), "Those attached nowhere more."))

    def rows(self) -> QuerySet[LimitSet]:
        return all_limit_sets(self.viewer)


class OneLimitSet(EntryDoor):
    """One limit set. Its key stays. Retired, it is assigned nowhere more; where it is attached it goes on."""

    subject, shape_in, shape_out, fixed = "limit_sets", LimitSetChange, LimitSetOut, ("id", "key")

    def rows(self) -> QuerySet[LimitSet]:
        return all_limit_sets(self.viewer)

    def change(self, entry: LimitSet, version: int, changes: dict[str, Any]) -> LimitSet:
        return change_limit_set(limit_set=entry, version=version, changes=changes, now=clock.now())


class CopyLimitSet(Door):
    """A new set under its own key and name with what this one says today, for a person to review anew."""

    subject, shape_in, shape_out, makes = "limit_sets", NamedLimitSetIn, LimitSetOut, True

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Make the copy: 201; the same id again 200; with another key or name 409."""
        limit_set = found(all_limit_sets(self.viewer), id)
        entry, made = create_once(
            known=all_limit_sets(self.viewer),
            model=LimitSet,
            values=named_once(request, self.taken()),
            create=lambda values: copy_limit_set(
                limit_set=limit_set, values=values, actor=self.viewer, now=clock.now()
            ),
        )
        return self.shown(found(all_limit_sets(self.viewer), entry.pk), 201 if made else 200)


class ExportLimitSet(Door):
    """What the set says today, as a file that another installation takes."""

    subject, shape_out = "limit_sets", LimitSetFileOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        limit_set = found(all_limit_sets(self.viewer), id)
        current = limit_set.current
        if current is None:
            raise NotFound("not_found", "The set has no version yet.")
        return as_file(
            {
                "schema": LIMIT_SET_FILE,
                "key": limit_set.key,
                "name": limit_set.name,
                "external_reference": limit_set.external_reference,
                "version": current.number,
                "content": current.content,
                "review": _review(current) if current.is_reviewed else None,
            },
            LimitSetFileOut,
        )


def _review(version: LimitSetVersion) -> dict[str, str]:
    return {"by": version.reviewed_by, "on": str(version.reviewed_on), "source": version.review_source}


class LimitSetVersions(ListDoor):
    """A set's versions; the newest counts today. Recorded, never edited; a new one is unreviewed."""

    subject, shape_in, shape_out, makes = "limit_sets", NewLimitSetVersion, LimitSetVersionOut, True

    def rows(self) -> QuerySet[LimitSetVersion]:
        return self.limit_set().versions.all()

    def limit_set(self) -> LimitSet:
        limit_set: LimitSet = found(all_limit_sets(self.viewer), self.kwargs["id"])
        return limit_set

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Record one: 201; the same id with the same content again 200; with other content 409. With If-Match only on
        top of the version of that number (412 where another came meanwhile)."""
        limit_set = self.limit_set()
        based_on = version_named(request) if "If-Match" in request.headers else None
        return post_recorded(
            self,
            kind="limit_set_version",
            model=LimitSetVersion,
            belongs={"limit_set": str(limit_set.id)},
            add=lambda new_id, values: add_limit_set_version(
                limit_set=limit_set,
                content=read_limit_set(values["content"]),
                actor=self.viewer,
                now=clock.now(),
                id=new_id,
                based_on=based_on,
            ),
        )


class PreviewLimitSet(Door):
    """What would change if this content became the set's next version. Nothing is written."""

    subject, shape_in, shape_out = "limit_sets", LimitSetIn, PreviewOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Judge the newest visit of every appliance under the set again, as if it had been read today, and calculate
        when its checks would fall due."""
        limit_set = found(all_limit_sets(self.viewer), id)
        content = read_limit_set(self.body())
        made = preview_limit_set(limit_set=limit_set, content=content, viewer=self.viewer, day=clock.today())
        return self.shown(made)


class CompareLimitSet(Door):
    """What two versions of a limit set say differently, in words."""

    subject, shape_out, filters = "comparisons", DifferencesOut, COMPARED

    def get(self, request: Request, id: uuid.UUID) -> Response:
        before, after = numbers_compared(request)
        versions = {each.number: each.content for each in found(all_limit_sets(self.viewer), id).versions.all()}
        if missing := [number for number in (before, after) if number not in versions]:
            raise NotFound("not_found", f"The set has no version {missing[0]}.")
        differences = limit_set_differences(versions[before], versions[after])
        return self.shown({"before": before, "after": after, "differences": differences})


class LimitSetReview(Door):
    """A named person has checked the newest version against its source: the same content, as a reviewed version."""

    subject, shape_in, shape_out = "limit_sets", Review, LimitSetVersionOut

    def post(self, request: Request, id: uuid.UUID) -> Response:
        """Record who checked it, by which source, on which day; that day must have come."""
        limit_set = found(all_limit_sets(self.viewer), id)
        review = self.taken()
        number = review.pop("number")
        made = review_limit_set(limit_set=limit_set, review=review, number=number, actor=self.viewer, now=clock.now())
        return self.shown(made)
