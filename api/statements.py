"""The statement for a client or a building over a period: what was recorded, as known today."""

from typing import Any

from django.http import HttpResponse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.defects import DefectOut
from api.doors import Door
from api.errors import BadQuery
from api.fields import Said
from api.filters import day_of, id_of, parameter
from api.flags import FlagOut
from api.no_access import AttemptOut
from fleet import clock
from fleet.assess.statements import Statement
from fleet.coded import coded, wrong
from fleet.presentation.verdicts import set_words
from fleet.queries.statements import statement_for
from reports.statements import statement_csv, statement_pdf

_FILES = {"pdf": ("application/pdf", statement_pdf), "csv": ("text/csv; charset=utf-8", statement_csv)}


class SetOutcomeOut(serializers.Serializer[Any]):
    name = Said(set_words, of="name")
    version = serializers.CharField()
    outcome = serializers.CharField(
        source="on_paper", help_text="`withheld`: within by a set that nobody has reviewed."
    )
    evidence = serializers.CharField()
    reviewed = serializers.BooleanField()


class IdleOut(serializers.Serializer[Any]):
    """Out of use from its first day to its last."""

    first = serializers.DateField()
    last = serializers.DateField()


class StatementLineOut(serializers.Serializer[Any]):
    """One appliance in service in the period; `not_evidence` says why its last record proves nothing."""

    appliance = serializers.UUIDField(source="appliance.id")
    name = serializers.CharField(source="appliance.name")
    building = serializers.UUIDField(source="appliance.building_id")
    last_visit = serializers.UUIDField(source="last.id", default=None, allow_null=True)
    last_on = serializers.DateField(source="last.local_date", default=None, allow_null=True)
    visits_in_period = serializers.IntegerField()
    attempts = AttemptOut(many=True, help_text="Attempts without access in the period.")
    outcomes = SetOutcomeOut(many=True)
    due = serializers.DateField(allow_null=True)
    due_by = serializers.CharField()
    due_doubt = serializers.CharField(help_text="Why the record that it counts from proves little; else empty.")
    undecided = serializers.ListField(
        child=serializers.CharField(), help_text="Required checks whose date can't be told."
    )
    not_counted = serializers.ListField(child=serializers.CharField(), help_text="Visits, and why they did not.")
    idle = IdleOut(many=True, help_text="Days of the period on which it was out of use; nothing was due on them.")
    late_days = serializers.IntegerField()
    flags = FlagOut(many=True)
    defects = DefectOut(many=True)
    not_evidence = serializers.ListField(child=serializers.CharField())


class StatementOut(serializers.Serializer[Any]):
    """As recorded; it never says that anything is safe. `unreviewed` sets were reviewed by nobody."""

    contractor = serializers.CharField(source="contractor.name")
    client = serializers.UUIDField(source="client.id")
    building = serializers.UUIDField(source="building.id", default=None, allow_null=True)
    begins = serializers.DateField()
    ends = serializers.DateField()
    known_on = serializers.DateField()
    unreviewed = serializers.ListField(child=serializers.CharField())
    lines = StatementLineOut(many=True)


class Statements(Door):
    """One statement: give client or building, begins, ends, and `as` for paper (pdf) or a table (csv)."""

    subject = "statements"
    shape_out = StatementOut
    filters = (
        parameter("client", "All of this client's buildings.", "uuid"),
        parameter("building", "This building only.", "uuid"),
        parameter("begins", "First day of the period.", "date"),
        parameter("ends", "Last day of the period.", "date"),
        parameter("as", "json (the usual), pdf or csv."),
    )

    def get(self, request: Request) -> Response | HttpResponse:
        shape = request.query_params.get("as", "json")
        if shape not in ("json", *_FILES):
            raise BadQuery(**{"as": wrong("one_of", shape, allowed=["json", *_FILES])})
        statement = self.statement()
        return self.shown(statement) if shape == "json" else _file(statement, shape)

    def statement(self) -> Statement:
        client, building = id_of(self.request, "client"), id_of(self.request, "building")
        if (client is None) == (building is None):
            raise BadQuery(client=coded("client_or_building"))
        begins, ends = day_of(self.request, "begins"), day_of(self.request, "ends")
        return statement_for(
            self.viewer, client_id=client, building_id=building, begins=begins, ends=ends, today=clock.today()
        )


def _file(statement: Statement, shape: str) -> HttpResponse:
    media_type, write = _FILES[shape]
    answer = HttpResponse(write(statement), content_type=media_type)
    name = f"statement-{statement.begins}-{statement.ends}.{shape}"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
