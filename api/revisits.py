"""Revisits: by when each appliance should be seen, and why; its day and who goes; what one attendance serves."""

import uuid
from datetime import date
from typing import Annotated, Any

from django.db.models import F, Q
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.doors import ActDoor, Door, ListDoor, OneDoor
from api.fields import Reference, Said
from api.filters import by_day, by_id, by_text, by_word, of_appliance, yes_no
from api.shapes import RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, DayOf, Shape, Text, Whole, Word
from fleet.models import OccupierNotice, Revisit
from fleet.presentation.revisits import (
    beyond_words,
    reason_sentence,
    reason_words,
    set_words,
    together_words,
    urgency_words,
    who_words,
)
from fleet.queries.register import the_contractor, visible_people
from fleet.queries.revisits import MANY_ATTEMPTS, revisits_of_building, visible_revisits
from fleet.services.revisit_days import SET, Notice, book_day, release_day


class ReasonOut(serializers.Serializer[Any]):
    """One reason to come. latest is empty for a required check in doubt, which sets no day."""

    kind = serializers.CharField()
    latest = serializers.CharField()
    earliest = serializers.CharField()
    what = serializers.CharField(default="")
    rationed = serializers.CharField(default="", help_text='"yes" where it counts against the extra visits.')
    sentence = Said(reason_sentence)
    code = serializers.SerializerMethodField(help_text="What the sentence is made of.")
    figures = serializers.SerializerMethodField()

    def get_code(self, reason: dict[str, Any]) -> str:
        return str(reason["why"][0])

    def get_figures(self, reason: dict[str, Any]) -> dict[str, Any]:
        return dict(reason["why"][1])


class RevisitOut(RowOut):
    row, columns = Revisit, "id appliance latest accepted_until day set_by set_at note made_at version"
    earliest = serializers.DateField(help_text="From then on coming costs no anniversary.")
    date_set_by = serializers.CharField(help_text="Which reason set the last day.")
    sentence = Said(reason_words, of="why")
    reasons = ReasonOut(many=True)
    urgency = serializers.FloatField(help_text="What it is for counts whole, the chance of being outside is added.")
    urgency_words = Said(urgency_words, of="urgency_of")
    extra = serializers.CharField(help_text="within or beyond the extra visits; empty where none is asked for.")
    extra_week = serializers.DateField(allow_null=True, help_text="The Monday of the extra visit that it takes.")
    drift_by = serializers.DateField(allow_null=True, help_text="The last day by drift, where only drift asks for it.")
    accepted_risk = serializers.FloatField(allow_null=True, help_text="Chance of being outside before accepted_until.")
    beyond = serializers.SerializerMethodField(help_text="The risk accepted by not coming, in words.")
    state = serializers.CharField(help_text="proposed, booked or confirmed.")
    technician = serializers.UUIDField(source="technician_id", allow_null=True, help_text="Who goes on that day.")
    who_words = Said(
        who_words, help_text="Who goes, and what speaks against it: no qualification for the fuel in force on that day."
    )
    set_words = serializers.SerializerMethodField(help_text="What is set, and what is odd about it by now.")
    no_access = serializers.IntegerField(help_text="Attempts since the last visit that got to the appliance.")

    def get_beyond(self, revisit: Revisit) -> str:
        if revisit.extra != Revisit.Extra.BEYOND:
            return ""
        if "contractor" not in self.context:
            self.context["contractor"] = the_contractor(self.context["viewer"])
        return beyond_words(revisit, self.context["contractor"].extra_visits_a_week)

    def get_set_words(self, revisit: Revisit) -> str:
        return set_words(revisit, clock.today(revisit.appliance.building.time_zone))


class NoticeIn(Shape):
    kind: Annotated[str, Word(OccupierNotice.Kind.values)]
    given_on: Annotated[date, DayOf()]
    how: Annotated[str, Text(200)]
    notice_days: Annotated[int, Whole(0, 365)] = LEFT_OUT


class DayIn(Shape):
    state: Annotated[str, Word([str(each) for each in SET])]
    day: Annotated[date, DayOf()]
    technician: Annotated[
        Any, Reference(visible_people, null=True, help="Who goes; nobody is named where it is left out.")
    ] = LEFT_OUT
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    notice: NoticeIn = LEFT_OUT


class ReleaseIn(Shape):
    note: Annotated[str, Text(500)]


class Revisits(ListDoor):
    """One proposal an appliance."""

    subject, query, shape_out = "revisits", visible_revisits, RevisitOut
    filters = (
        *of_appliance(),
        by_text("date_set_by", "date_set_by"),
        by_word("state", "state", Revisit.State.values),
        by_id("technician", "technician", visible_people),
        yes_no("unnamed", Q(day__isnull=False, technician__isnull=True), "Set for a day, and nobody is named to go."),
        by_word("extra", "extra", ["within", "beyond"]),
        by_day("latest_before", "latest__lte", "To be seen by this day or before."),
        yes_no("needed_earlier", Q(day__isnull=False, latest__lt=F("day")), "Set for a day after its last one."),
        yes_no("no_access", Q(no_access__gte=MANY_ATTEMPTS), f"{MANY_ATTEMPTS} attempts without access or more."),
    )


class OneRevisit(OneDoor):
    """One proposal."""

    subject, query, shape_out = "revisits", visible_revisits, RevisitOut


class BookDay(ActDoor):
    """Pin or confirm its day, and name who goes. Whoever is not qualified for it yet is accepted: `who_words` says so
    until a qualification is in force on that day. Where the occupier knows of another day, a new notice is needed
    (409)."""

    subject, query, shape_in, shape_out, versioned = "revisits", visible_revisits, DayIn, RevisitOut, True

    def act(self, thing: Revisit, version: int, said: dict[str, Any]) -> None:
        given = said.pop("notice", None)
        notice = Notice(given["kind"], given["given_on"], given["how"], given.get("notice_days", 0)) if given else None
        said = {"note": "", "technician": None} | said
        book_day(revisit=thing, version=version, notice=notice, **said, actor=self.viewer, now=clock.now())


class ReleaseDay(ActDoor):
    """Take its day back, with the reason: it is a proposal again."""

    subject, query, shape_in, shape_out, versioned = "revisits", visible_revisits, ReleaseIn, RevisitOut, True

    def act(self, thing: Revisit, version: int, said: dict[str, Any]) -> None:
        release_day(revisit=thing, version=version, note=said["note"], actor=self.viewer, now=clock.now())


class TogetherOut(serializers.Serializer[Any]):
    begins = serializers.DateField()
    ends = serializers.DateField()
    words = Said(together_words)
    revisits = RevisitOut(many=True)


class BuildingRevisitsOut(serializers.Serializer[Any]):
    building = serializers.UUIDField(source="building.id")
    today = serializers.DateField()
    groups = TogetherOut(many=True, help_text="One an attendance, the soonest first.")


class RevisitsOfBuilding(Door):
    """A building's proposals by the attendances that can serve them without costing an anniversary."""

    subject, shape_out = "revisits", BuildingRevisitsOut

    def get(self, request: Request, id: uuid.UUID) -> Response:
        return self.shown(revisits_of_building(self.viewer, id, clock.now()))
