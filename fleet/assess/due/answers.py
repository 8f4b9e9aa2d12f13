"""Which fields of the record a visit answers by itself, which the register answers, and which a visit is to fill.

One small question a field; what the dictionary calls "record" stands here, "declared" are the technician's own answers.
"""

import uuid
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from fleet.assess.appliances import by_appliance, facts_of
from fleet.assess.due.record_fields import asked_of, record_fields
from fleet.assess.judging.evidence import Used
from fleet.limits.cases import COMMON_FLUE
from fleet.models import Appliance, Flag, GasConversion, Reading, Visit, WorkItem
from fleet.models.judgements import Derived
from fleet.models.people import fuel_kind

UNSAFE, GAS_WORK, OIL = "unsafe", "gas work", "oil"
CARRIES_GAS = frozenset({"gas_conversion", "nozzle", "part"})
TO_THE_MINUTE = ("instant", "minute")


@dataclass(frozen=True)
class Taken:
    """A visit with what belongs to it, read once.

    own: its readings that were not taken in a common flue; derived: the judgement's figures of these.
    """

    visit: Visit
    own: Sequence[Reading]
    work: Sequence[WorkItem]
    has_defects: bool
    derived: Sequence[Derived]

    def read(self, *columns: str) -> bool:
        """Any of these columns at any reading."""
        return any(getattr(each, column) is not None for each in self.own for column in columns)

    def every(self, holds: Callable[[Reading], bool]) -> bool:
        return bool(self.own) and all(holds(each) for each in self.own)


def taken(visit: Visit, derived: Mapping[int, Derived]) -> Taken:
    readings = list(visit.readings.all())
    own = [each for each in readings if each.sampling_point != COMMON_FLUE]
    figures = [derived[each.number] for each in own]
    return Taken(visit, own, list(visit.work.all()), bool(visit.defects.all()), figures)


def answered_by_record(visit: Taken) -> list[str]:
    """Names of the fields that the record answers: by what was read and done, or in the technician's own words."""
    inspection_points = {name for name, answer in visit.visit.inspection_points.items() if answer != ""}
    return [name for name in record_fields() if name in inspection_points or (name in RECORD and RECORD[name](visit))]


def conditions_of(visit: Taken) -> list[str]:
    """Of the conditions under which fields are asked for, those that hold."""
    held = {
        UNSAFE: visit.visit.unsafe,
        GAS_WORK: any(each.kind in CARRIES_GAS for each in visit.work),
        OIL: fuel_kind(visit.visit.fuel) == "oil",
    }
    return [name for name, holds in held.items() if holds]


def _says_work(visit: Taken) -> bool:
    return bool(visit.work) or visit.visit.left_as_found


def _both_phases(visit: Taken) -> bool:
    phases = {each.counted_phase for each in visit.own}
    moved = any(each.moves_combustion for each in visit.work)
    return "as_found" in phases and ("as_left" in phases or not moved)


def _ambient_max(visit: Taken) -> bool:
    return visit.visit.ambient_co_after_ppm is not None or visit.read("ambient_co_ppm")


def _unsafe_told(visit: Taken) -> bool:
    details = visit.visit.unsafe_details
    return bool(details.get("told")) and details.get("labelled") is not None


def _has_efficiency(visit: Taken) -> bool:
    return any(each.efficiency_pct_net is not None for each in visit.derived)


RECORD: Mapping[str, Callable[[Taken], bool]] = {
    "visit_date": lambda _visit: True,  # without a date there is no record
    "start_end_time": lambda visit: visit.visit.attendance.left_at is not None,
    "appliance_id": lambda visit: bool(visit.visit.data_plate.get("serial_seen")),
    "fuel": lambda visit: bool(visit.visit.fuel),
    "analyser_fuel": lambda visit: visit.every(lambda each: each.analyser_fuel != ""),
    "manufacturer_spec": lambda visit: visit.visit.sheet_id is not None,
    "technician": lambda visit: visit.visit.signed_by_id is not None or any(each.person_id for each in visit.own),
    "technician_signature": lambda visit: visit.visit.signed_by_id is not None and visit.visit.signed_at is not None,
    "analyser_id": lambda visit: visit.every(lambda each: each.analyser_id is not None),
    "fresh_air_zero": lambda visit: None not in (visit.visit.zero_o2_pct, visit.visit.zero_co_ppm),
    "ambient_co_entry": lambda visit: visit.visit.ambient_co_before_ppm is not None,
    "ambient_co_max": _ambient_max,
    "draught": lambda visit: visit.read("draught_pa", "draught_fire_pa"),
    "gas_inlet_pressure": lambda visit: visit.read("gas_pressure_working_pa"),
    "burner_pressure": lambda visit: visit.read("burner_pressure_pa"),
    "gas_rate": lambda visit: any(each.gas_rate for each in visit.own),
    "phase": _both_phases,
    "firing_rate": lambda visit: visit.every(lambda each: each.rate_set_by != ""),
    "reading_time": lambda visit: visit.every(
        lambda each: each.taken_at is not None and each.time_precision in TO_THE_MINUTE
    ),
    "stability": lambda visit: visit.every(lambda each: bool(each.series) or each.steadiness != "not_shown"),
    "o2": lambda visit: visit.read("o2_pct", "co2_pct"),
    "co2": lambda visit: visit.read("o2_pct", "co2_pct"),
    "co": lambda visit: visit.read("co_ppm"),
    "nox": lambda visit: visit.read("nox_ppm", "no_ppm"),
    "flue_temp": lambda visit: visit.read("flue_temp_c"),
    "air_temp": lambda visit: visit.read("air_temp_c"),
    "water_temps": lambda visit: visit.read("flow_temp_c"),
    "efficiency_loss": _has_efficiency,
    "soot": lambda visit: visit.read("smoke_spot") and visit.read("oil_derivatives"),
    "weather": lambda visit: None not in (visit.visit.outdoor_temp_c, visit.visit.barometric_pressure_pa),
    "adjustments": _says_work,
    "parts_cleaning": _says_work,
    "defects": lambda visit: visit.has_defects,
    "disposition": lambda visit: bool(visit.visit.disposition),
    "unsafe_notice": _unsafe_told,
    "restoration": lambda visit: bool(visit.visit.restore_steps),
}


# ---- by the register as it is ----


def answered_by_register(appliance: Appliance) -> frozenset[str]:
    """What the entries of the appliance, its building and its client answer for each of its visits.

    A fact of the appliance that has a field's own name answers that field.
    """
    building = appliance.building
    version = appliance.sheet.current if appliance.sheet else None
    sheet = version.content if version else {}
    held = {
        "premises_address": bool(building.address),
        "owner_or_agent": bool(building.client.name and building.client.address),
        "appliance_id": bool(appliance.serial),
        "appliance_location": bool(appliance.room),
        "rated_input_output": bool(sheet.get("rated_input_kw") or sheet.get("rated_output_kw")),
    }
    facts = {name.lower() for name, value in appliance.facts.items() if value not in ("", None)}
    named = {name for name, each in record_fields().items() if "register" in each.answered_by and name in facts}
    return frozenset({name for name, holds in held.items() if holds} | named)


# The list of required fields of the test that follows, and its fields that no record answers by itself.
AFTER_CONVERSION = "after_conversion"
NEW_GAS, ANALYSER_NEW_GAS = "new_gas", "analyser_new_gas"


def conversions_of(appliance_ids: Collection[uuid.UUID]) -> dict[uuid.UUID, list[GasConversion]]:
    """Of each appliance its conversions, oldest first; nothing is read where no appliance is named."""
    made = GasConversion.objects.filter(appliance__in=appliance_ids).order_by("converted_on", "id")
    return by_appliance(made) if appliance_ids else {}


def answered_by_conversion(conversions: Iterable[GasConversion], used: Used, day: date) -> frozenset[str]:
    """Which of these fields hold for a record of that day: what burnt is what it had been converted to last, and each
    analyser was set to that gas, or to what the conversion says instead. Both where nothing had been converted yet.
    """
    done = [each for each in conversions if each.converted_on <= day]
    if not done:
        return frozenset({NEW_GAS, ANALYSER_NEW_GAS})
    last = max(done, key=lambda each: each.converted_on)
    held = {
        NEW_GAS: used.fuel == last.to_fuel,
        ANALYSER_NEW_GAS: set(used.set_to) <= {last.to_fuel, last.analyser_fuel},
    }
    return frozenset(name for name, holds in held.items() if holds)


# ---- what a visit is to fill, so that it can count for the required checks of its appliance ----


@dataclass(frozen=True)
class AskedField:
    """A field of the record that required checks of the appliance ask for.

    mandatory_for, conditional_for: names of these required checks; the latter ask for it only where `condition` holds.
    answered: the register answers it already. declared: nothing else in a visit answers it but the technician's own
    word, under this name. fires: reading it needs the burner to fire. how: what answers it.
    """

    name: str
    words: str
    mandatory_for: tuple[str, ...]
    conditional_for: tuple[str, ...]
    condition: str
    answered: bool
    inspection_points: bool
    fires: bool
    how: str


@dataclass(frozen=True)
class Asked:
    """The union of the fields that the standing required checks ask for; without those that need firing where the
    appliance is stopped for safety.
    """

    fields: tuple[AskedField, ...]
    stopped: bool


def asked_of_visit(appliance: Appliance, day: date) -> Asked:
    """What a visit of that day is to fill, so that each required check which is not yet done or suspended can be
    counted.

    An appliance that was stopped for safety is not to be fired again: nothing is asked for that needs it.
    """
    standing = appliance.required_checks.filter(until__isnull=True, since__lte=day, suspended_since__isnull=True)
    open_ones = standing.exclude(required_fields="").exclude(due__isnull=True, cannot_tell=[])
    needs = {each.name: each.required_fields for each in open_ones.order_by("due", "id")}
    stopped = _is_stopped(appliance)
    register, facts = answered_by_register(appliance), facts_of(appliance, day)
    fields = tuple(
        AskedField(
            name=each.name,
            words=each.words,
            mandatory_for=tuple(always),
            conditional_for=tuple(sometimes),
            condition=each.condition_words if sometimes else "",
            answered=each.name in register,
            inspection_points=each.may_be_answered,
            fires=each.fires,
            how=each.how,
        )
        for each, always, sometimes in asked_of(needs)
        if not (stopped and each.fires)
        if always or "fact" not in each.condition or facts.get(each.condition["fact"]) is not False
    )
    return Asked(fields, stopped)


def _is_stopped(appliance: Appliance) -> bool:
    """Declared unsafe or left at a stop level, and nobody has closed that."""
    standing = appliance.flags.filter(kind__in=(Flag.Kind.UNSAFE, Flag.Kind.STOP), closed_at__isnull=True)
    return any(not each.figures.get("put_right") for each in standing)
