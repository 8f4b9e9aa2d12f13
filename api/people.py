"""People who do the work, and their qualifications."""

import uuid
from typing import Annotated, Any

from rest_framework import serializers

from api.doors import EntryDoor, EntryListDoor, RecordedDoor
from api.filters import EXTERNAL_REFERENCE, by_word
from api.shapes import EntryIn, EntryOut, RowOut
from fleet import clock
from fleet.intake.fields import LEFT_OUT, Email, Id, Text, Word
from fleet.intake.register import QualificationIn
from fleet.models import Person, Qualification, Role
from fleet.models.access import may_see
from fleet.queries.register import visible_people
from fleet.services.register import add_qualification


class PersonIn(EntryIn):
    name: Annotated[str, Text(200)]
    role: Annotated[str, Word(Role.values)] = LEFT_OUT
    phone: Annotated[str, Text(60, blank=True)] = LEFT_OUT
    email: Annotated[str, Email(blank=True)] = LEFT_OUT


class PersonOut(EntryOut):
    """How to reach somebody is for colleagues: an auditor sees names and qualifications."""

    row, columns = Person, "name role"

    phone = serializers.CharField(required=False)
    email = serializers.CharField(required=False)
    user = serializers.UUIDField(source="user_id", allow_null=True)

    def to_representation(self, instance: Person) -> dict[str, Any]:
        shown = super().to_representation(instance)
        if not may_see(self.context["viewer"], "contact_details"):
            del shown["phone"], shown["email"]
        return dict(shown)


class NewQualification(QualificationIn):
    id: Annotated[uuid.UUID, Id()] = LEFT_OUT


class QualificationOut(RowOut):
    row, columns = Qualification, "id person scheme number valid_from valid_to record"
    fuel_kinds = serializers.ListField(child=serializers.CharField())


class People(EntryListDoor):
    """Everybody whose name stands on records."""

    subject, query, shape_in, shape_out = "people", visible_people, PersonIn, PersonOut
    filters = (by_word("role", "role", Role.values), EXTERNAL_REFERENCE)


class OnePerson(EntryDoor):
    """One person."""

    subject, query, shape_in, shape_out = "people", visible_people, PersonIn, PersonOut


class Qualifications(RecordedDoor):
    """What somebody is qualified for, from when to when. Recorded, never edited."""

    subject, query, shape_in, shape_out = "people", visible_people, NewQualification, QualificationOut
    kind, of, parts = "qualification", "person", "qualifications"

    def record(self, id: uuid.UUID, content: dict[str, Any]) -> Qualification:
        return add_qualification(person=self.whole, content=content, actor=self.viewer, now=clock.now(), id=id)
