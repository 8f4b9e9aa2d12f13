"""A visit as a phone or another program sends it, read once into a draft."""

import uuid
from functools import lru_cache
from itertools import pairwise
from typing import Any

from rest_framework import serializers

from fleet.assess.due.record_fields import declarable
from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.intake.fields import (
    AsHeld,
    Day,
    DecimalText,
    Measured,
    Moment,
    MomentOrDay,
    StrictSerializer,
    Text,
    Word,
    YesNo,
    flat_errors,
    refused,
    without_decimals,
)
from fleet.models import Visit
from fleet.models.drafts import VisitDraft
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

SCHEMA = "visit/1"
LIST_LENGTH_MAX = 200
PHASES = ("as_found", "between", "as_left")
RATE_SET_BY = ("service_mode", "by_demand", "by_the_sites_controls", "as_it_ran")
RATE_PROVEN_BY = ("display", "fan_speed", "timed_input", "not_proven")
SAMPLING_POINTS = ("appliance_outlet", "before_draught_diverter", "common_flue")
SERIES_QUANTITIES = ("o2", "co2", "co", "flue_temp")
SAMPLES_MAX = 1000
WORK_KINDS = ("adjustment", "cleaning", "reseal", "nozzle", "part", "gas_conversion", "other")


class _Uuid(serializers.UUIDField):
    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid", value=data)
        return str(super().to_internal_value(data))


def _samples(low: float, high: float) -> Any:
    sample = DecimalText(low=low, high=high, allow_null=True)
    return serializers.ListField(child=sample, required=False, max_length=SAMPLES_MAX)


Values = type(
    "Values",
    (StrictSerializer,),
    {name: Measured(quantity, required=False) for name, quantity in READING_QUANTITIES.items()},
)
Conditions = type(
    "Conditions",
    (StrictSerializer,),
    {name: Measured(quantity, required=False) for name, quantity in CONDITION_QUANTITIES.items()},
)


class GasRate(StrictSerializer):
    """A timed gas meter: volume over seconds, with what is needed to bring it to heat input.

    Without a heating value the one of the gas that burns there counts, at 15 °C; a supplier's belongs to the
    temperature that it is stated at.
    """

    index_start = DecimalText(low=0)
    index_end = DecimalText(low=0)
    unit = Word(choices=["m3", "ft3"])
    seconds = DecimalText(low=1, high=86400)
    gas_temp_c = DecimalText(low=-40, high=60, required=False)
    gas_pressure_pa = DecimalText(low=0, high=1_000_000, required=False)
    heating_value_mj_m3_gross = DecimalText(low=1, high=200, required=False)
    heating_value_at_c = DecimalText(low=0, high=25, required=False)

    def validate(self, attrs: dict[str, str]) -> dict[str, str]:
        if float(attrs["index_end"]) <= float(attrs["index_start"]):
            raise serializers.ValidationError(
                {"index_end": f"is {attrs['index_end']}; it must be above the start, {attrs['index_start']}"}
            )
        return attrs


class Series(StrictSerializer):
    """What the analyser logged at this rate, one column a quantity; null where a sample is missing.

    at_s: seconds since the rate was reached. o2, co2 in %, co in ppm, flue_temp in °C. over_range: the quantities that
    went past what the instrument can show. from_cold: the appliance had just been started.
    """

    at_s = serializers.ListField(child=DecimalText(low=0, high=86_400), min_length=1, max_length=SAMPLES_MAX)
    o2 = _samples(0, 25)
    co2 = _samples(0, 25)
    co = _samples(0, 1_000_000)
    flue_temp = _samples(-50, 1_500)
    over_range = serializers.ListField(child=Word(choices=SERIES_QUANTITIES), required=False, max_length=4)
    from_cold = YesNo(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        seconds = [float(each) for each in attrs["at_s"]]
        if any(later <= earlier for earlier, later in pairwise(seconds)):
            raise serializers.ValidationError({"at_s": "do not rise; each sample must be later than the one before"})
        errors = {
            name: f"has {len(attrs[name])} samples; there are {len(seconds)} times"
            for name in SERIES_QUANTITIES
            if name in attrs and len(attrs[name]) != len(seconds)
        }
        if errors:
            raise serializers.ValidationError(errors)
        return attrs


class ReadingIn(StrictSerializer):
    phase = Word(choices=PHASES)
    rate = Text(20)
    rate_set_by = Word(choices=RATE_SET_BY, required=False)
    rate_proven_by = Word(choices=RATE_PROVEN_BY, required=False)
    casing = Word(choices=["open", "closed"], required=False)
    sampling_point = Word(choices=SAMPLING_POINTS)
    also_running = serializers.ListField(child=_Uuid(), required=False, max_length=50)
    taken_at = MomentOrDay(required=False, allow_null=True)
    time_precision = Word(choices=["instant", "minute", "day", "unknown"])
    steadiness = Word(choices=["steady", "not_steady", "not_shown"], required=False)
    series = Series(required=False)
    analyser_fuel = Word(choices=list(FUELS), required=False)
    analyser = Text(100)
    person = Text(100)
    values = Values()
    gas_rate = GasRate(required=False)
    oil_derivatives = YesNo(required=False, allow_null=True)
    flame_unstable = YesNo(required=False)


class Work(StrictSerializer):
    kind = Word(choices=WORK_KINDS)
    after_reading = serializers.IntegerField(
        min_value=0, error_messages={"min_value": "is below 0; it must be from 0 to the number of readings"}
    )
    component = Text(100, required=False)
    replaced = YesNo(required=False)
    adjuster = Text(100, required=False)
    rate = Text(20, required=False)
    direction = Word(choices=["clockwise", "anticlockwise"], required=False)
    amount = Text(60, required=False)
    turns = DecimalText(low=0.001, high=50, required=False)
    note = Text(500, required=False)


class RestoreStep(StrictSerializer):
    step = Text(200)
    answer = Word(choices=["done", "not_done", "does_not_apply"])
    why = Text(500, required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["answer"] == "not_done" and not attrs.get("why"):
            raise serializers.ValidationError({"why": "is empty; a step not done needs its reason"})
        return attrs


class NotDone(StrictSerializer):
    """A firing step that wasn't done; after a stop the phone fills these in without asking."""

    rate = Text(20)
    phase = Word(choices=PHASES)
    why = Text(200)


class DefectIn(StrictSerializer):
    what = Text(500)
    where = Text(200, required=False)
    severity = Word(choices=["note", "repair", "urgent", "unsafe"])
    action = Text(500, required=False)
    done = YesNo(required=False)
    repair_by = Day(required=False, allow_null=True)
    told = Text(200, required=False)


class UnsafeDetails(StrictSerializer):
    isolated = YesNo(required=False)
    labelled = YesNo(required=False)
    told = Text(200, required=False)
    reason = Text(500, required=False)


class Answer(AsHeld):
    """true, false or words: what the technician says of a field that nothing else in the record answers."""

    def to_internal_value(self, data: Any) -> str | bool:
        if isinstance(data, bool):
            return data
        if not isinstance(data, str):
            raise refused(data, "it must be true, false or words")
        words: str = Text(500).run_validation(data)
        return words


InspectionPoints = type("Declared", (StrictSerializer,), {name: Answer(required=False) for name in declarable()})


class DispositionIn(StrictSerializer):
    state = Word(choices=Visit.Disposition.values)
    unsafe = YesNo(required=False)
    details = UnsafeDetails(required=False)


class Plate(StrictSerializer):
    confirmed = YesNo()
    serial_seen = Text(100, required=False)


class AttendanceIn(StrictSerializer):
    id = _Uuid()
    building = _Uuid()
    arrived_at = Moment()
    left_at = Moment(required=False, allow_null=True)
    people = serializers.ListField(child=Text(100), min_length=1, max_length=20)


class Signature(StrictSerializer):
    person = Text(100)
    at = Moment()


def _listed(shape: type[StrictSerializer]) -> Any:
    """A list of these that may be left out; a longer one is refused before any of it is read."""
    said = {"max_length": "has too many entries; at most {max_length} go into one visit"}
    return shape(many=True, required=False, max_length=LIST_LENGTH_MAX, error_messages=said)


class VisitIn(StrictSerializer):
    """One appliance at one attendance. The phone makes both ids.

    fuel: what burnt, as the technician saw it; without it what the register says burns there. declared: the
    technician's own answers to fields that the required checks ask for and nothing else in the record holds.
    """

    schema = Word(choices=[SCHEMA])
    id = _Uuid()
    attendance = AttendanceIn()
    appliance = _Uuid()
    fuel = Word(choices=list(FUELS), required=False)
    outcome = Word(choices=Visit.Outcome.values)
    outcome_reason = Text(500, required=False)
    data_plate = Plate(required=False)
    conditions = Conditions(required=False)
    readings = _listed(ReadingIn)
    work = _listed(Work)
    left_as_found = YesNo(required=False)
    restore_steps = _listed(RestoreStep)
    not_done = _listed(NotDone)
    defects = _listed(DefectIn)
    closes_defects = serializers.ListField(child=_Uuid(), required=False, max_length=50)
    disposition = DispositionIn()
    note = Text(2000, required=False)
    inspection_points = InspectionPoints(required=False)
    card_seen = serializers.DictField(required=False)
    signature = Signature(required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs["outcome"] != Visit.Outcome.TESTED and not attrs.get("outcome_reason"):
            raise serializers.ValidationError({"outcome_reason": f"is empty; {attrs['outcome']!r} needs its reason"})
        if attrs["outcome"] != Visit.Outcome.NOT_TESTED and not attrs.get("readings"):
            raise serializers.ValidationError({"readings": f"are missing; {attrs['outcome']!r} needs at least one"})
        _check_order(attrs.get("work", []), len(attrs.get("readings", [])))
        return attrs


class SoFarIn(StrictSerializer):
    """A test that goes on: what was read and done so far, in the shapes of a visit; advice is on the last reading."""

    fuel = Word(choices=list(FUELS), required=False)
    conditions = Conditions(required=False)
    readings = ReadingIn(many=True, min_length=1, max_length=LIST_LENGTH_MAX)
    work = _listed(Work)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        _check_order(attrs.get("work", []), len(attrs["readings"]))
        return attrs


def _check_order(work: list[dict[str, Any]], readings: int) -> None:
    """Each piece of work stands before, between or after readings that are there."""
    errors = {
        f"work.{n}.after_reading": f"is {each['after_reading']}; it must be from 0 to {readings}, the readings' number"
        for n, each in enumerate(work)
        if each["after_reading"] > readings
    }
    if errors:
        raise serializers.ValidationError(errors)


@lru_cache(maxsize=1)
def _shape() -> VisitIn:
    """Made once: it holds nothing of a message, and making its fields takes longer than reading one."""
    return VisitIn(error_messages={"null": "No data provided"})


def read_visit(data: Any) -> VisitDraft:
    """The draft of a visit. Raises Malformed with each field, its value and what is allowed."""
    try:
        read = _shape().run_validation(data)
    except serializers.ValidationError as bad:
        errors = flat_errors(bad.detail)
        raise Malformed(
            "visit_malformed", "The visit can't be read; it is kept to be corrected.", errors=errors
        ) from bad
    content = without_decimals(dict(read))
    try:
        submitted = sha256_hex(canonical_bytes(without_decimals(data)))
    except ValueError as bad:
        raise Malformed("visit_malformed", "The visit can't be read.", errors={"body": str(bad)}) from bad
    return VisitDraft(
        id=uuid.UUID(content["id"]),
        appliance_id=uuid.UUID(content["appliance"]),
        building_id=uuid.UUID(content["attendance"]["building"]),
        content=content,
        submitted_sha256=submitted,
    )


def unsafe_appliance(data: Any) -> uuid.UUID | None:
    """The appliance that an unreadable message calls unsafe, if that much can be read: it is acted on at once."""
    if not isinstance(data, dict) or not isinstance(data.get("disposition"), dict):
        return None
    try:
        appliance = uuid.UUID(str(data.get("appliance")))
    except ValueError:
        return None
    called = data["disposition"].get("unsafe")
    return appliance if called is True or str(called).strip().lower() in ("true", "yes", "1") else None
