"""A visit as it is shown: in a line for lists, and whole with readings as entered, derived figures and verdicts."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.analysers import CalibrationOut
from api.defects import DefectOut
from api.derived import DerivedOut
from api.fields import VerdictField
from api.people import QualificationOut
from api.questions import QuestionOut
from api.records import RecordOut
from api.schema import measured_schema
from fleet.assess.judging.visit_facts import VisitFacts
from fleet.models import Diagnosis, Finding, Judgement, Visit
from fleet.models.records import content_of
from fleet.presentation.diagnoses import causes_of, checks_of, diagnosis_words, title_words
from fleet.presentation.verdicts import summary_words, verdict_sentence

MEASURED = {"type": "object", "additionalProperties": measured_schema()}


class VisitLineOut(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    appliance = serializers.UUIDField(source="appliance_id")
    building = serializers.UUIDField(source="appliance.building_id")
    attendance = serializers.UUIDField(source="attendance_id")
    local_date = serializers.DateField(help_text="The site's date of the last counted reading.")
    outcome = serializers.CharField()
    outcome_reason = serializers.CharField()
    disposition = serializers.CharField()
    unsafe = serializers.BooleanField()
    judged = serializers.CharField(source="judgement.outcome")
    summary = serializers.SerializerMethodField()
    record = serializers.UUIDField(source="record_id")
    sha256 = serializers.CharField(source="record.sha256")

    def get_summary(self, visit: Visit) -> str:
        return summary_words(visit.judgement)


class FindingOut(serializers.Serializer[Any]):
    """A verdict that fired, strictest first."""

    number = serializers.IntegerField()
    reading = serializers.IntegerField(allow_null=True)
    phase = serializers.CharField()
    rate = serializers.CharField()
    quantity = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    severity = serializers.CharField()
    stop = serializers.BooleanField()
    limit_set = serializers.CharField()
    action = serializers.CharField()
    sentence = serializers.SerializerMethodField()

    def get_sentence(self, finding: Finding) -> str:
        return verdict_sentence(finding.verdict)


class DiagnosisOut(serializers.Serializer[Any]):
    """A pattern that the readings show. It suggests; a licensed person decides, and no verdict rests on it."""

    pattern = serializers.CharField()
    title = serializers.SerializerMethodField()
    severity = serializers.CharField()
    sentence = serializers.SerializerMethodField()
    causes = serializers.SerializerMethodField()
    checks = serializers.SerializerMethodField()
    evidence = serializers.CharField()
    figures = serializers.DictField()
    inputs = serializers.DictField(help_text="What it was drawn from: readings of this visit, or other visits.")
    made_at = serializers.DateTimeField()

    def get_title(self, diagnosis: Diagnosis) -> str:
        return title_words(diagnosis)

    def get_sentence(self, diagnosis: Diagnosis) -> str:
        return diagnosis_words(diagnosis)

    def get_causes(self, diagnosis: Diagnosis) -> list[str]:
        return causes_of(diagnosis)

    def get_checks(self, diagnosis: Diagnosis) -> list[str]:
        return checks_of(diagnosis)

    def to_representation(self, diagnosis: Diagnosis) -> dict[str, Any]:
        """Ids of other visits only for whoever sees every client: they may be another's."""
        shown: dict[str, Any] = super().to_representation(diagnosis)
        viewer = self.context.get("viewer")
        return shown if viewer and viewer.sees_all_clients else shown | {"inputs": {}}


class ReadingOut(serializers.Serializer[Any]):
    """One reading: as entered, as it counts, what was derived from it, and how it was judged."""

    number = serializers.IntegerField(source="reading.number")
    phase = serializers.CharField(source="reading.phase")
    counted_phase = serializers.CharField(source="reading.counted_phase")
    rate = serializers.CharField(source="reading.rate")
    rate_set_by = serializers.CharField(source="reading.rate_set_by")
    rate_proven_by = serializers.CharField(source="reading.rate_proven_by")
    casing = serializers.CharField(source="reading.casing")
    sampling_point = serializers.CharField(source="reading.sampling_point")
    also_running = serializers.ListField(source="reading.also_running", child=serializers.UUIDField())
    taken_at = serializers.DateTimeField(source="reading.taken_at", allow_null=True)
    time_precision = serializers.CharField(source="reading.time_precision")
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
    oil_derivatives = serializers.BooleanField(source="reading.oil_derivatives", allow_null=True)
    flame_unstable = serializers.BooleanField(source="reading.flame_unstable")
    derived = DerivedOut()
    verdicts = serializers.ListField(child=VerdictField(), help_text="Strictest first.")

    @extend_schema_field(MEASURED)
    def get_values(self, facts: Any) -> dict[str, Any]:
        return as_entered(self.context["entered"]["readings"][facts.reading.number - 1]["values"])


class WorkOut(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    after_reading = serializers.IntegerField()
    kind = serializers.CharField()
    component = serializers.CharField()
    replaced = serializers.BooleanField()
    adjuster = serializers.CharField()
    rate = serializers.CharField()
    direction = serializers.CharField()
    amount = serializers.CharField()
    turns = serializers.FloatField(allow_null=True, help_text="How far the adjuster was turned.")
    note = serializers.CharField()


class JudgementOut(serializers.Serializer[Any]):
    """Outcome and the versions it was reached with; within or outside the limits as recorded, no more."""

    outcome = serializers.CharField()
    summary = serializers.SerializerMethodField()
    engine = serializers.CharField()
    judged_at = serializers.DateTimeField()
    sheet_version = serializers.UUIDField(source="sheet_version_id", allow_null=True)
    stop_levels = serializers.UUIDField(source="stop_levels_id")
    card = serializers.DictField()

    def get_summary(self, judgement: Judgement) -> str:
        return summary_words(judgement)


class AnalyserOnDayOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    analyser = serializers.UUIDField(source="analyser.id", default=None, allow_null=True)
    calibration = CalibrationOut(allow_null=True, help_text="In force that day.")


class PersonOnDayOut(serializers.Serializer[Any]):
    name = serializers.CharField()
    person = serializers.UUIDField(source="person.id", default=None, allow_null=True)
    qualification = QualificationOut(allow_null=True, help_text="In force that day for the fuel.")


class VisitOut(serializers.Serializer[Any]):
    """Shown from its newest record; `version` is how many records it has, 1 without corrections."""

    id = serializers.UUIDField(source="visit.id")
    version = serializers.SerializerMethodField()
    appliance = serializers.UUIDField(source="appliance.id")
    building = serializers.UUIDField(source="appliance.building_id")
    client = serializers.UUIDField(source="appliance.building.client_id")
    attendance = serializers.SerializerMethodField()
    local_date = serializers.DateField(source="visit.local_date")
    outcome = serializers.CharField(source="visit.outcome")
    outcome_reason = serializers.CharField(source="visit.outcome_reason")
    disposition = serializers.CharField(source="visit.disposition")
    unsafe = serializers.BooleanField(source="visit.unsafe")
    unsafe_details = serializers.DictField(source="visit.unsafe_details")
    left_as_found = serializers.BooleanField(source="visit.left_as_found")
    data_plate = serializers.DictField(source="visit.data_plate")
    fuel = serializers.CharField(source="visit.fuel")
    fuel_composition = serializers.DictField(
        source="visit.fuel_composition",
        child=serializers.CharField(),
        help_text="Mole fractions where the fuel isn't one of ours by name.",
    )
    sheet = serializers.UUIDField(source="visit.sheet_id", allow_null=True, help_text="That it had on the day.")
    conditions = serializers.SerializerMethodField()
    restore_steps = serializers.ListField(source="visit.restore_steps", child=serializers.DictField())
    not_done = serializers.ListField(source="visit.not_done", child=serializers.DictField())
    note = serializers.CharField(source="visit.note")
    signed_by = serializers.UUIDField(source="visit.signed_by_id", allow_null=True)
    signed_at = serializers.DateTimeField(source="visit.signed_at", allow_null=True)
    judgement = JudgementOut()
    readings = serializers.SerializerMethodField()
    work = WorkOut(source="visit.work.all", many=True)
    defects = DefectOut(source="visit.defects.all", many=True)
    findings = FindingOut(many=True)
    diagnoses = DiagnosisOut(source="visit.diagnoses.all", many=True)
    questions = QuestionOut(many=True)
    analysers = AnalyserOnDayOut(many=True)
    people = PersonOnDayOut(many=True)
    record = serializers.UUIDField(source="visit.record_id")
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
