"""Required checks: which rule an appliance is under and when it next falls due."""

from datetime import date
from typing import Annotated, Any

from django.db.models import Q
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor
from api.fields import CodedRows, ExternalReference, Reference, Rule, Said
from api.filters import EXTERNAL_REFERENCE, by_day, by_word, of_appliance, yes_no
from api.shapes import EntryIn, EntryOut
from fleet import clock
from fleet.coded import coded
from fleet.errors import FleetError
from fleet.intake.fields import LEFT_OUT, DayOf, Shape, Text, Word
from fleet.models import RequiredCheck
from fleet.presentation.due_dates import date_words, doubt_words, missing_of, not_counted_words
from fleet.queries.register import visible_appliances
from fleet.queries.required_checks import visible_required_checks
from fleet.services.required_checks import add_required_check, change_required_check


class RequiredCheckIn(EntryIn):
    appliance: Annotated[Any, Reference(visible_appliances)]
    name: Annotated[str, Text(200)]
    source: Annotated[
        str, Word(["contract", "manufacturer"], help="A limit set's required checks come with its assignment.")
    ]
    rule: Annotated[dict[str, Any], Rule()]
    since: Annotated[date, DayOf()]
    why: Annotated[str, Text(500)]


class RequiredCheckChange(Shape):
    """A required check's rule can't be changed: end it and add another."""

    external_reference: ExternalReference = LEFT_OUT
    name: Annotated[str, Text(200)]
    why: Annotated[str, Text(500)]
    until: Annotated[date, DayOf()]


class MissingOut(serializers.Serializer[Any]):
    """A field that a check lacks."""

    name = serializers.CharField()
    words = serializers.CharField()
    why = serializers.CharField(help_text="By which rule it is asked for.")
    found = serializers.CharField(help_text="Where it was looked for, in vain.")


class RequiredCheckOut(EntryOut):
    row = RequiredCheck
    columns = "appliance assignment name source since until why decided_by due earliest_keep"
    part = serializers.CharField(help_text="Which rule of its limit set, where that has several; empty: its own.")
    rule = serializers.DictField()
    rule_since = serializers.DateField(allow_null=True, help_text="From which day it goes by this form of the rule.")
    required_fields = serializers.CharField(
        help_text="By which list of fields a check must be complete; empty: by none."
    )
    ended_why = serializers.CharField(help_text=f"Empty while it stands; else {', '.join(RequiredCheck.Ended.values)}.")
    words = Said(date_words, of="steps", help_text="How the date comes about.")
    steps = CodedRows(help_text="The same, each step as its code and its figures.")
    cannot_tell = Said(doubt_words, of="cannot_tell", help_text="Which fact is missing, where the date can't be told.")
    doubts = CodedRows(source="cannot_tell", help_text="The same, each as its code and its figures.")
    last_done = serializers.DateField(allow_null=True, help_text="The last check that counted it.")
    visited_on = serializers.DateField(allow_null=True, help_text="A later visit that did not count for it.")
    not_counted = serializers.SerializerMethodField(help_text="Why that visit did not.")
    not_counted_for = CodedRows(source="not_counted", help_text="The same, as codes and figures.")
    lacks = serializers.SerializerMethodField(help_text="The fields of the record that it lacked.")
    suspended_since = serializers.DateField(allow_null=True, help_text="Out of use since then: nothing is due.")

    def get_not_counted(self, required_check: RequiredCheck) -> str:
        return not_counted_words(required_check.visited_on, required_check.not_counted)

    @extend_schema_field(MissingOut(many=True))
    def get_lacks(self, required_check: RequiredCheck) -> Any:
        return MissingOut(missing_of(required_check.required_fields, required_check.lacks), many=True).data


class RequiredChecks(EntryListDoor):
    """Required checks of the appliances that you may see. None replaces or lengthens another."""

    subject, query, shape_in, shape_out = "required_checks", visible_required_checks, RequiredCheckIn, RequiredCheckOut
    filters = (
        *of_appliance(),
        by_word("source", "source", ["limit_set", "contract", "manufacturer", "conversion"]),
        yes_no("open", Q(until__isnull=True), "Still in force."),
        yes_no("suspended", Q(suspended_since__isnull=False), "Out of use: nothing is due."),
        yes_no("not_counted", ~Q(not_counted=[]), "Visited, and yet doesn't count."),
        by_day("due_before", "due__lte", "Due by this day or before."),
        EXTERNAL_REFERENCE,
    )

    def create(self, values: dict[str, Any]) -> RequiredCheck:
        return add_required_check(values=values, actor=self.viewer, now=clock.now())


class OneRequiredCheck(EntryDoor):
    """One required check: its name, reason and end can be changed."""

    subject, query = "required_checks", visible_required_checks
    shape_in, shape_out = RequiredCheckChange, RequiredCheckOut

    def change(self, entry: RequiredCheck, version: int, changes: dict[str, Any]) -> RequiredCheck:
        if entry.assignment_id and "until" in changes:
            errors = {"until": coded("assignments_end")}
            raise FleetError("invalid", "This required check comes with a limit set.", errors=errors)
        return change_required_check(
            required_check=entry, version=version, changes=changes, actor=self.viewer, now=clock.now()
        )
