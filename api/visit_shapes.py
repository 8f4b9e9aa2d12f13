"""A visit as it is shown: in a line for lists, and whole with readings as entered, derived figures and verdicts."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.analysers import CalibrationOut
from api.corrections import CorrectionOut
from api.defects import DefectOut
from api.derived import DerivedOut
from api.fields import Said, VerdictField
from api.people import QualificationOut
from api.questions import QuestionOut
from api.records import RecordOut
from api.shapes import RowOut
from fleet.assess.judging.visit_facts import VisitFacts
from fleet.intake.fields import measured_schema
from fleet.models import Diagnosis, Finding, Judgement, Reading, Visit, WorkItem
from fleet.models.records import content_of
from fleet.presentation.diagnoses import causes_of, checks_of, diagnosis_words, title_words
from fleet.presentation.verdicts import action_words, set_version_words, summary_words, verdict_sentence

MEASURED = {"type": "object", "additionalProperties": measured_schema()}


class VisitLineOut(RowOut):
    row, columns = Visit, "id appliance attendance outcome outcome_reason disposition unsafe record"
    building = serializers.UUIDField(source="appliance.building_id")
    local_date = serializers.DateField(help_text="The site's date of the last counted reading.")
    judged = serializers.CharField(source="judgement.outcome")
    summary = Said(summary_words, of="judgement")
    sha256 = serializers.CharField(source="record.sha256")


class FindingOut(RowOut):
    """A verdict that fired, strictest first."""

    row, columns = Finding, "number reading phase rate quantity value severity stop"

    limit_set = Said(set_version_words, of="verdict")
    action = Said(action_words, of="verdict")
    sentence = Said(verdict_sentence, of="verdict")


class DiagnosisOut(RowOut):
    """A pattern that the readings show. It suggests; a licensed person decides, and no verdict rests on it."""

    row, columns = Diagnosis, "pattern severity evidence figures made_at"

    title = Said(title_words)
    sentence = Said(diagnosis_words)
    causes = Said(causes_of)
    checks = Said(checks_of)
    inputs = serializers.DictField(help_text="What it was drawn from: readings of this visit, or other visits.")

    def to_representation(self, diagnosis: Diagnosis) -> dict[str, Any]:
        """Ids of other visits only for whoever sees every client: they may be another's."""
        shown: dict[str, Any] = super().to_representation(diagnosis)
        viewer = self.context.get("viewer")
        return shown if viewer and viewer.sees_all_clients else shown | {"inputs": {}}


class ReadingOut(RowOut):
    """One reading: as entered, as it counts, what was derived from it, and how it was judged."""

    row = Reading
    columns = (
        "number phase counted_phase rate rate_set_by rate_proven_by casing sampling_point taken_at "
        "time_precision oil_derivatives flame_unstable"
    )
    within = "reading"

    also_running = serializers.ListField(source="reading.also_running", child=serializers.UUIDField())
    steadiness = serializers.CharField(source="reading.steadiness", help_text="As the technician said.")
    series = serializers.DictField(
        source="reading.series",
        allow_null=True,
        help_text="As the analyser logged it: %, ppm, °C, seconds at the rate.",
    )
    analyser_fuel = serializers.CharField(source="reading.analyser_fuel", help_text="The fuel that it was set to.")
    analyser = serializers.CharField(source="reading.analyser_given", help_text="As given.")
    person = serializers.CharField(source="reading.person_given", help_text="As given.")
    values = serializers.SerializerMethodField()
    gas_rate = serializers.DictField(source="reading.gas_rate", allow_null=True)
    derived = DerivedOut()
    verdicts = serializers.ListField(child=VerdictField(), help_text="Strictest first.")

    @extend_schema_field(MEASURED)
    def get_values(self, facts: Any) -> dict[str, Any]:
        return as_entered(self.context["entered"]["readings"][facts.reading.number - 1]["values"])


class WorkOut(RowOut):
    row, columns = WorkItem, "number after_reading kind component replaced adjuster rate direction amount note"
    turns = serializers.FloatField(allow_null=True, help_text="How far the adjuster was turned.")


class JudgementOut(RowOut):
    """Outcome and the versions it was reached with; within or outside the limits as recorded, no more."""

    row, columns = Judgement, "outcome engine judged_at sheet_version stop_levels"

    summary = Said(summary_words)
    card = serializers.DictField()


class AnalyserOnDayOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    analyser = serializers.UUIDField(source="analyser.id", default=None, allow_null=True)
    calibration = CalibrationOut(allow_null=True, help_text="In force that day.")


class PersonOnDayOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    person = serializers.UUIDField(source="person.id", default=None, allow_null=True)
    qualification = QualificationOut(allow_null=True, help_text="In force that day for the fuel.")


class VisitOut(RowOut):
    """Shown from its newest record; `version` is how many records it has, 1 without corrections."""

    row = Visit
    columns = (
        "id local_date outcome outcome_reason disposition unsafe unsafe_details left_as_found data_plate fuel "
        "note signed_by signed_at record"
    )
    within = "visit"

    version = serializers.SerializerMethodField()
    appliance = serializers.UUIDField(source="appliance.id")
    building = serializers.UUIDField(source="appliance.building_id")
    client = serializers.UUIDField(source="appliance.building.client_id")
    attendance = serializers.SerializerMethodField()
    fuel_composition = serializers.DictField(
        source="visit.fuel_composition",
        child=serializers.CharField(),
        help_text="Mole fractions where the fuel isn't one of ours by name.",
    )
    sheet = serializers.UUIDField(source="visit.sheet_id", allow_null=True, help_text="That it had on the day.")
    conditions = serializers.SerializerMethodField()
    restore_steps = serializers.ListField(source="visit.restore_steps", child=serializers.DictField())
    not_done = serializers.ListField(source="visit.not_done", child=serializers.DictField())
    judgement = JudgementOut()
    readings = serializers.SerializerMethodField()
    work = WorkOut(source="visit.work.all", many=True)
    defects = DefectOut(source="visit.defects.all", many=True)
    findings = FindingOut(many=True)
    diagnoses = DiagnosisOut(source="visit.diagnoses.all", many=True)
    questions = QuestionOut(many=True)
    corrections = CorrectionOut(
        source="visit.corrections.all", many=True, help_text="That took something back: waiting, confirmed, refused."
    )
    analysers = AnalyserOnDayOut(many=True)
    people = PersonOnDayOut(many=True)
    sha256 = serializers.CharField(source="visit.record.sha256")
    records = RecordOut(many=True, help_text="Oldest first: the visit as sent, then its corrections.")

    def get_version(self, facts: VisitFacts) -> int:
        return len(facts.records)

    @extend_schema_field({"type": "object", "additionalProperties": {}})
    def get_attendance(self, facts: VisitFacts) -> dict[str, Any]:
        return dict(_entered(facts.visit)["attendance"])

    @extend_schema_field(MEASURED)
    def get_conditions(self, facts: VisitFacts) -> dict[str, Any]:
        return as_entered(_entered(facts.visit).get("conditions", {}))

    @extend_schema_field(ReadingOut(many=True))
    def get_readings(self, facts: VisitFacts) -> list[Any]:
        context = self.context | {"entered": _entered(facts.visit)}
        return list(ReadingOut(facts.readings, many=True, context=context).data)


def _entered(visit: Visit) -> dict[str, Any]:
    return content_of(visit.record)


def as_entered(values: dict[str, dict[str, str]]) -> dict[str, dict[str, str]]:
    """Value, unit and qualifier as somebody gave them, without the figure that our columns hold."""
    return {name: {part: said for part, said in each.items() if part != "figure"} for name, each in values.items()}
