"""Duties: which rule an appliance is under and when it next falls due."""

from typing import Any

from django.db.models import Q, QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor
from api.entries import EntryIn, EntryOut
from api.fields import CodedRows, DayOf, ExternalReference, Reference, Rule
from api.filters import EXTERNAL_REFERENCE, by_day, by_word, of_appliance, yes_no
from fleet import clock
from fleet.assess.due.record_fields import missing_of
from fleet.errors import FleetError
from fleet.intake.fields import StrictSerializer, Text, Word
from fleet.models import Duty
from fleet.presentation.due_dates import date_words, doubt_words, not_discharged_words
from fleet.queries.duties import visible_duties
from fleet.queries.register import visible_appliances
from fleet.services.duties import add_duty, change_duty


class DutyIn(EntryIn):
    appliance = Reference(visible_appliances)
    name = Text(200)
    source = Word(choices=["contract", "maker"], help_text="A limit set's duties come with its attachment.")
    rule = Rule()
    since = DayOf()
    why = Text(500)


class DutyChange(StrictSerializer):
    """A duty's rule can't be changed: end it and add another."""

    external_reference = ExternalReference()
    name = Text(200)
    why = Text(500)
    until = DayOf()


class MissingOut(serializers.Serializer[Any]):
    """A field that a check lacks."""

    name = serializers.CharField()
    words = serializers.CharField()
    why = serializers.CharField(help_text="By which rule it is asked for.")
    found = serializers.CharField(help_text="Where it was looked for, in vain.")


class DutyOut(EntryOut):
    appliance = serializers.UUIDField(source="appliance_id")
    attachment = serializers.UUIDField(source="attachment_id", allow_null=True)
    part = serializers.CharField(help_text="Which rule of its limit set, where that has several; empty: its own.")
    name = serializers.CharField()
    source = serializers.CharField()
    rule = serializers.DictField()
    since = serializers.DateField()
    until = serializers.DateField(allow_null=True)
    why = serializers.CharField()
    decided_by = serializers.CharField()
    rule_since = serializers.DateField(allow_null=True, help_text="From which day it goes by this form of the rule.")
    regime = serializers.CharField(help_text="By which list of fields a check must be complete; empty: by none.")
    ended_why = serializers.CharField()
    due = serializers.DateField(allow_null=True)
    earliest_keep = serializers.DateField(allow_null=True)
    words = serializers.SerializerMethodField(help_text="How the date comes about.")
    steps = CodedRows(help_text="The same, each step as its code and its figures.")
    cannot_tell = serializers.SerializerMethodField(help_text="Which fact is missing, where the date can't be told.")
    doubts = CodedRows(source="cannot_tell", help_text="The same, each as its code and its figures.")
    last_done = serializers.DateField(allow_null=True, help_text="The last check that discharged it.")
    visited_on = serializers.DateField(allow_null=True, help_text="A later visit that did not discharge it.")
    not_discharged = serializers.SerializerMethodField(help_text="Why that visit did not.")
    not_discharged_for = CodedRows(source="not_discharged", help_text="The same, as codes and figures.")
    lacks = serializers.SerializerMethodField(help_text="The fields of the record that it lacked.")
    suspended_since = serializers.DateField(allow_null=True, help_text="Out of use since then: nothing is due.")

    def get_words(self, duty: Duty) -> str:
        return date_words(duty.steps)

    def get_cannot_tell(self, duty: Duty) -> str:
        return doubt_words(duty.cannot_tell)

    def get_not_discharged(self, duty: Duty) -> str:
        return not_discharged_words(duty.visited_on, duty.not_discharged)

    @extend_schema_field(MissingOut(many=True))
    def get_lacks(self, duty: Duty) -> Any:
        return MissingOut(missing_of(duty.regime, duty.lacks), many=True).data


class Duties(EntryListDoor):
    """Duties of the appliances that you may see. None replaces or lengthens another."""

    subject, model, shape_in, shape_out = "duties", Duty, DutyIn, DutyOut
    filters = (
        *of_appliance(),
        by_word("source", "source", ["limit set", "contract", "maker", "conversion"]),
        yes_no("open", Q(until__isnull=True), "Still in force."),
        yes_no("suspended", Q(suspended_since__isnull=False), "Out of use: nothing is due."),
        yes_no("not_discharged", ~Q(not_discharged=[]), "Visited, and yet not discharged."),
        by_day("due_before", "due__lte", "Due by this day or before."),
        EXTERNAL_REFERENCE,
    )

    def rows(self) -> QuerySet[Duty]:
        return visible_duties(self.viewer)

    def create(self, values: dict[str, Any]) -> Duty:
        return add_duty(values=values, actor=self.viewer, now=clock.now())


class OneDuty(EntryDoor):
    """One duty: its name, reason and end can be changed."""

    subject, shape_in, shape_out = "duties", DutyChange, DutyOut

    def rows(self) -> QuerySet[Duty]:
        return visible_duties(self.viewer)

    def change(self, entry: Duty, version: int, changes: dict[str, Any]) -> Duty:
        if entry.attachment_id and "until" in changes:
            errors = {"until": "is the attachment's: end that, and its duties end with it"}
            raise FleetError("invalid", "This duty comes with a limit set.", errors=errors)
        return change_duty(duty=entry, version=version, changes=changes, now=clock.now())
