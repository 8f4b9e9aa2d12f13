"""A visit as a phone or another program sends it, read once into a draft."""

import uuid
from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any

from django.utils.translation import gettext_lazy as _
from pydantic import Field, ValidationInfo

from fleet.assess.due.record_fields import declarable
from fleet.coded import Coded, coded
from fleet.combustion import FUELS
from fleet.errors import Malformed
from fleet.evidence import canonical_bytes, sha256_hex
from fleet.intake.fields import (
    LEFT_OUT,
    AnyObject,
    Day,
    DecimalText,
    IdText,
    Kind,
    Many,
    Measured,
    Moment,
    MomentOrDay,
    Shape,
    Text,
    Whole,
    Word,
    YesNo,
    read_as,
    refused,
    shape_of,
    without_decimals,
)
from fleet.models import Visit
from fleet.models.drafts import VisitDraft
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES, Quantity

SCHEMA = "visit/1"
LIST_LENGTH_MAX = 200
PHASES = ("as_found", "between", "as_left")
RATE_SET_BY = ("service_mode", "by_demand", "by_the_sites_controls", "as_it_ran")
RATE_PROVEN_BY = ("display", "fan_speed", "timed_input", "not_proven")
SAMPLING_POINTS = ("appliance_outlet", "before_draught_diverter", "common_flue")
SERIES_QUANTITIES = ("o2", "co2", "co", "flue_temp")
SAMPLES_MAX = 1000
CONCERNED = (
    *("burner", "fan", "gas_valve", "nozzle", "heat_exchanger", "case_seal", "burner_joint", "flue_joint"),
    *("condensate_trap", "filter", "electrode", "adjuster_cap", "other"),
)
WORK_KINDS = ("adjustment", "cleaning", "reseal", "nozzle", "part", "gas_conversion", "other")
TURNS = ("clockwise", "anticlockwise")

Rate = Annotated[str, Text(20)]
Ids = list[Annotated[str, IdText()]]
Fuel = Annotated[str, Word(list(FUELS))]


def _measured(quantities: dict[str, Quantity]) -> dict[str, Any]:
    return {name: Annotated[dict[str, str], Measured(each, label=each.label)] for name, each in quantities.items()}


Values = shape_of("Values", _measured(READING_QUANTITIES))
Conditions = shape_of("Conditions", _measured(CONDITION_QUANTITIES))


class GasRate(Shape):
    """A timed gas meter: volume over seconds, with what is needed to bring it to heat input.

    Without a heating value the one of the gas that burns there counts, at 15 °C; a supplier's belongs to the
    temperature that it is stated at.
    """

    index_start: Annotated[str, DecimalText(0)]
    index_end: Annotated[str, DecimalText(0)]
    unit: Annotated[str, Word(("m3", "ft3"))]
    seconds: Annotated[str, DecimalText(1, 86400)]
    gas_temp_c: Annotated[str, DecimalText(-40, 60)] = LEFT_OUT
    gas_pressure_pa: Annotated[str, DecimalText(0, 1_000_000)] = LEFT_OUT
    heating_value_mj_m3_gross: Annotated[str, DecimalText(1, 200)] = LEFT_OUT
    heating_value_at_c: Annotated[str, DecimalText(0, 25)] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if float(self.index_end) <= float(self.index_start):
            yield "index_end", coded("not_above_start", value=self.index_end, start=self.index_start)


def _samples(low: float, high: float) -> Any:
    return Annotated[list[Annotated[str | None, DecimalText(low, high, null=True)]], Many(0, SAMPLES_MAX)]


class Series(Shape):
    """What the analyser logged at this rate, one column a quantity; null where a sample is missing.

    at_s: seconds since the rate was reached. o2, co2 in %, co in ppm, flue_temp in °C. over_range: the quantities that
    went past what the instrument can show. from_cold: the appliance had just been started.
    """

    at_s: Annotated[list[Annotated[str, DecimalText(0, 86_400)]], Many(1, SAMPLES_MAX)]
    o2: _samples(0, 25) = LEFT_OUT
    co2: _samples(0, 25) = LEFT_OUT
    co: _samples(0, 1_000_000) = LEFT_OUT
    flue_temp: _samples(-50, 1_500) = LEFT_OUT
    over_range: Annotated[list[Annotated[str, Word(SERIES_QUANTITIES)]], Many(0, 4)] = LEFT_OUT
    from_cold: Annotated[bool, YesNo()] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        seconds = [float(each) for each in self.at_s]
        if any(later <= earlier for earlier, later in pairwise(seconds)):
            yield "at_s", coded("times_not_rising")
            return
        for name in SERIES_QUANTITIES:
            samples = getattr(self, name)
            if samples is not None and len(samples) != len(seconds):
                yield name, coded("samples_for_times", samples=len(samples), times=len(seconds))


class ReadingIn(Shape):
    phase: Annotated[str, Word(PHASES)]
    rate: Rate
    rate_set_by: Annotated[str, Word(RATE_SET_BY)] = LEFT_OUT
    rate_proven_by: Annotated[str, Word(RATE_PROVEN_BY)] = LEFT_OUT
    casing: Annotated[str, Word(("open", "closed"))] = LEFT_OUT
    sampling_point: Annotated[str, Word(SAMPLING_POINTS)]
    also_running: Annotated[Ids, Many(0, 50)] = LEFT_OUT
    taken_at: Annotated[str | None, MomentOrDay(null=True)] = LEFT_OUT
    time_precision: Annotated[str, Word(("instant", "minute", "day", "unknown"))]
    steadiness: Annotated[str, Word(("steady", "not_steady", "not_shown"))] = LEFT_OUT
    series: Series = LEFT_OUT
    analyser_fuel: Fuel = LEFT_OUT
    analyser: Annotated[str, Text(100)]
    person: Annotated[str, Text(100)]
    values: Values
    gas_rate: GasRate = LEFT_OUT
    oil_derivatives: Annotated[bool | None, YesNo(null=True)] = LEFT_OUT
    flame_unstable: Annotated[bool, YesNo()] = LEFT_OUT


class Work(Shape):
    kind: Annotated[str, Word(WORK_KINDS)]
    after_reading: Annotated[int, Whole(0)]
    component: Annotated[str, Text(100, blank=True)] = LEFT_OUT
    concerned: Annotated[str, Word(CONCERNED)] = LEFT_OUT
    replaced: Annotated[bool, YesNo()] = LEFT_OUT
    adjuster: Annotated[str, Text(100, blank=True)] = LEFT_OUT
    rate: Annotated[str, Text(20, blank=True)] = LEFT_OUT
    direction: Annotated[str, Word(TURNS)] = LEFT_OUT
    amount: Annotated[str, Text(60, blank=True)] = LEFT_OUT
    turns: Annotated[str, DecimalText(0.001, 50)] = LEFT_OUT
    note: Annotated[str, Text(500, blank=True)] = LEFT_OUT


class RestoreStep(Shape):
    step: Annotated[str, Text(200)]
    answer: Annotated[str, Word(("done", "not_done", "does_not_apply"))]
    why: Annotated[str, Text(500, blank=True)] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if self.answer == "not_done" and not self.why:
            yield "why", coded("reason_of_step")


class NotDone(Shape):
    """A firing step that wasn't done; after a stop the phone fills these in without asking."""

    rate: Rate
    phase: Annotated[str, Word(PHASES)]
    why: Annotated[str, Text(200)]


class DefectIn(Shape):
    what: Annotated[str, Text(500)]
    where: Annotated[str, Text(200, blank=True)] = LEFT_OUT
    severity: Annotated[str, Word(("note", "repair", "urgent", "unsafe"))]
    action: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    done: Annotated[bool, YesNo()] = LEFT_OUT
    repair_by: Annotated[str | None, Day(null=True)] = LEFT_OUT
    told: Annotated[str, Text(200, blank=True)] = LEFT_OUT


class UnsafeDetails(Shape):
    isolated: Annotated[bool, YesNo()] = LEFT_OUT
    labelled: Annotated[bool, YesNo()] = LEFT_OUT
    told: Annotated[str, Text(200, blank=True)] = LEFT_OUT
    reason: Annotated[str, Text(500, blank=True)] = LEFT_OUT


class Answer(Kind):
    """true, false or words: what the technician says of a field that nothing else in the record answers."""

    def read(self, given: Any, info: ValidationInfo) -> str | bool:
        if isinstance(given, bool):
            return given
        if not isinstance(given, str):
            raise refused("answer", given)
        return Text(500).read(given)

    def schema(self) -> dict[str, Any]:
        return {"anyOf": [{"type": "boolean"}, {"type": "string", "maxLength": 500}]}


InspectionPoints = shape_of("InspectionPoints", dict.fromkeys(declarable(), Annotated[Any, Answer()]))


class DispositionIn(Shape):
    state: Annotated[str, Word(Visit.Disposition.values)]
    unsafe: Annotated[bool, YesNo()] = LEFT_OUT
    details: UnsafeDetails = LEFT_OUT


class Plate(Shape):
    confirmed: Annotated[bool, YesNo()]
    serial_seen: Annotated[str, Text(100, blank=True)] = LEFT_OUT


class AttendanceIn(Shape):
    id: Annotated[str, IdText(label=_("Number of the attendance"))]
    building: Annotated[str, IdText()]
    arrived_at: Annotated[str, Moment()]
    left_at: Annotated[str | None, Moment(null=True)] = LEFT_OUT
    people: Annotated[list[Annotated[str, Text(100)]], Many(1, 20)]


class Signature(Shape):
    person: Annotated[str, Text(100)]
    at: Annotated[str, Moment(label=_("When"))]


def _some(one: Any = "") -> Many:
    return Many(0, LIST_LENGTH_MAX, one=one)


class VisitIn(Shape):
    """One appliance at one attendance. The phone makes both ids.

    fuel: what burnt, as the technician saw it; without it what the register says burns there. inspection_points: the
    technician's own answers to fields that the required checks ask for and nothing else in the record holds.
    """

    schema_: Annotated[str, Word([SCHEMA])] = Field(alias="schema")
    id: Annotated[str, IdText(label=_("Number of the record"))]
    attendance: AttendanceIn
    appliance: Annotated[str, IdText()]
    fuel: Fuel = LEFT_OUT
    outcome: Annotated[str, Word(Visit.Outcome.values)]
    outcome_reason: Annotated[str, Text(500, blank=True)] = LEFT_OUT
    data_plate: Plate = LEFT_OUT
    conditions: Conditions = LEFT_OUT
    readings: Annotated[list[ReadingIn], _some(_("Reading"))] = LEFT_OUT
    work: Annotated[list[Work], _some()] = LEFT_OUT
    left_as_found: Annotated[bool, YesNo()] = LEFT_OUT
    restore_steps: Annotated[list[RestoreStep], _some(_("Restore step"))] = LEFT_OUT
    not_done: Annotated[list[NotDone], _some(_("Firing not done"))] = LEFT_OUT
    defects: Annotated[list[DefectIn], _some(_("Defect"))] = LEFT_OUT
    closes_defects: Annotated[Ids, Many(0, 50)] = LEFT_OUT
    disposition: DispositionIn
    note: Annotated[str, Text(2000, blank=True)] = LEFT_OUT
    inspection_points: InspectionPoints = LEFT_OUT
    card_seen: Annotated[dict[str, Any], AnyObject()] = LEFT_OUT
    signature: Signature = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        if self.outcome != Visit.Outcome.TESTED and not self.outcome_reason:
            yield "outcome_reason", coded("reason_of_outcome", outcome=[self.outcome])
        if self.outcome != Visit.Outcome.NOT_TESTED and not self.readings:
            yield "readings", coded("readings_of_outcome", outcome=[self.outcome])
        yield from _out_of_order(self.work or [], len(self.readings or []))


class SoFarIn(Shape):
    """A test that goes on: what was read and done so far, in the shapes of a visit; advice is on the last reading."""

    fuel: Fuel = LEFT_OUT
    conditions: Conditions = LEFT_OUT
    readings: Annotated[list[ReadingIn], Many(1, LIST_LENGTH_MAX)]
    work: Annotated[list[Work], _some()] = LEFT_OUT

    def wrong(self) -> Iterator[tuple[str, Coded]]:
        yield from _out_of_order(self.work or [], len(self.readings))


def _out_of_order(work: list[Work], readings: int) -> Iterator[tuple[str, Coded]]:
    """Each piece of work stands before, between or after readings that are there."""
    for number, each in enumerate(work):
        if each.after_reading > readings:
            yield f"work.{number}.after_reading", coded("after_no_reading", value=each.after_reading, last=readings)


def read_visit(data: Any) -> VisitDraft:
    """The draft of a visit. Raises Malformed with each field, its value and what is allowed."""
    content = read_as(VisitIn, data, "visit_malformed", "The visit can't be read; it is kept to be corrected.")
    try:
        submitted = sha256_hex(canonical_bytes(without_decimals(data)))
    except ValueError as bad:
        raise Malformed("visit_malformed", "The visit can't be read.", errors={"body": coded("not_canonical")}) from bad
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
