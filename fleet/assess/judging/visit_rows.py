"""From a visit's content to rows, and the facts of the site that belong to the record."""

import uuid
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from fleet.combustion import Fuel, barometric_pressure_pa, fuel_for, gas_properties, heat_input_kw
from fleet.models import Analyser, Appliance, Attendance, Contractor, Defect, Person, Reading, Visit, WorkItem
from fleet.models.records import Row, part_id
from fleet.models.visits import moves_combustion
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES

CUBIC_FOOT_M3 = 0.028316846592  # exact, international foot


def site_facts(appliance: Appliance, content: dict[str, Any]) -> dict[str, Any]:
    """Facts of the register for the visit's day as they stood when the message came: they belong to the record."""
    building = appliance.building
    burnt = appliance.burns_on(local_date(content, building.time_zone))
    return {
        "time_zone": building.time_zone,
        "fuel": burnt.name,
        "altitude_m": f"{building.altitude_m:g}",
        **({"fuel_composition": burnt.composition} if burnt.composition else {}),
        "sheet": str(appliance.sheet_id or ""),
        **({"steadiness": criterion} if (criterion := _criterion()) else {}),
    }


def _criterion() -> dict[str, str]:
    """What a series must keep to be steady, where the contractor has set its own."""
    own = Contractor.objects.values_list("steadiness", flat=True).first() or {}
    return {name: f"{value:g}" for name, value in own.items()}


def _burnt(content: dict[str, Any]) -> tuple[str, dict[str, str]]:
    """What burnt: as the technician saw it, else what the register said of the site."""
    site = content["site"]
    name = content.get("fuel", site["fuel"])
    return name, site.get("fuel_composition", {}) if name == site["fuel"] else {}


# ---- from the record's content to rows: pure but for which people and analysers are on the register ----


def visit_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    """Every row that this content projects to."""
    visit_id = uuid.UUID(content["id"])
    attendance = content["attendance"]
    people = _known(Person, [each["person"] for each in content.get("readings", [])] + [_signer(content)])
    analysers = _known(Analyser, [each["analyser"] for each in content.get("readings", [])])
    return [
        Row(
            Attendance,
            uuid.UUID(attendance["id"]),
            {
                "building_id": uuid.UUID(attendance["building"]),
                "people": attendance["people"],
                "arrived_at": _moment(attendance["arrived_at"]),
                "left_at": _moment(attendance.get("left_at")),
            },
        ),
        Row(Visit, visit_id, _visit_values(content, people) | {"record_id": record_id}),
        *_reading_rows(content, visit_id, people, analysers),
        *_work_rows(content, visit_id),
        *_defect_rows(content, visit_id),
    ]


def _visit_values(content: dict[str, Any], people: dict[str, uuid.UUID]) -> dict[str, Any]:
    disposition = content["disposition"]
    conditions = content.get("conditions", {})
    signature = content.get("signature", {})
    fuel, composition = _burnt(content)
    return {
        "attendance_id": uuid.UUID(content["attendance"]["id"]),
        "appliance_id": uuid.UUID(content["appliance"]),
        "local_date": local_date(content, content["site"]["time_zone"]),
        "outcome": content["outcome"],
        "disposition": disposition["state"],
        "unsafe": disposition.get("unsafe", False),
        "unsafe_details": disposition.get("details", {}),
        "left_as_found": content.get("left_as_found", False),
        "fuel": fuel,
        "fuel_composition": composition,
        "sheet_id": _uuid(content["site"].get("sheet", "")),
        **{name: content.get(name, "") for name in ("outcome_reason", "note")},
        **{name: content.get(name, {}) for name in ("data_plate", "card_seen", "inspection_points")},
        **{name: content.get(name, []) for name in ("restore_steps", "not_done")},
        "signed_by_id": people.get(_signer(content)),
        "signed_at": _moment(signature.get("at")),
        "condition_qualifiers": _qualifiers(conditions),
        **{each.column: _figure(conditions.get(name)) for name, each in CONDITION_QUANTITIES.items()},
    }


def _reading_rows(
    content: dict[str, Any], visit_id: uuid.UUID, people: dict[str, uuid.UUID], analysers: dict[str, uuid.UUID]
) -> list[Row]:
    work = content.get("work", [])
    pressure_pa = _site_pressure_pa(content)
    fuel = fuel_for(*_burnt(content))
    return [
        Row(
            Reading,
            part_id(visit_id, "reading", number),
            {
                "visit_id": visit_id,
                "number": number,
                **{name: each[name] for name in ("phase", "rate", "sampling_point", "time_precision")},
                "counted_phase": counted_phase(each["phase"], number, work),
                **{name: each.get(name, "") for name in ("rate_set_by", "rate_proven_by", "casing", "analyser_fuel")},
                "also_running": each.get("also_running", []),
                "taken_at": _moment(each.get("taken_at")),
                "steadiness": each.get("steadiness", "not_shown"),
                "analyser_id": analysers.get(each["analyser"]),
                "analyser_given": each["analyser"],
                "person_id": people.get(each["person"]),
                "person_given": each["person"],
                "qualifiers": _qualifiers(each["values"]),
                **{name: each.get(name) for name in ("gas_rate", "oil_derivatives", "series")},
                "flame_unstable": each.get("flame_unstable", False),
                "input_kw_gross": _input_kw_gross(each.get("gas_rate"), pressure_pa, fuel),
                **{item.column: _figure(each["values"].get(name)) for name, item in READING_QUANTITIES.items()},
            },
        )
        for number, each in enumerate(content.get("readings", []), start=1)
    ]


def counted_phase(phase: str, number: int, work: list[dict[str, Any]]) -> str:
    """What the order makes of a reading: as found only before any work, as left only after the last of it.

    Only work that moves combustion counts; other work (a label, a leak test) changes nothing.
    """
    moved = [each["after_reading"] for each in work if moves_combustion(each["kind"], each.get("concerned", ""))]
    if phase == "as_found" and any(after < number for after in moved):
        return "between"
    if phase == "as_left" and any(after >= number for after in moved):
        return "between"
    return phase


def _work_rows(content: dict[str, Any], visit_id: uuid.UUID) -> list[Row]:
    names = ("component", "concerned", "adjuster", "rate", "direction", "amount", "note")
    return [
        Row(
            WorkItem,
            part_id(visit_id, "work", number),
            {
                "visit_id": visit_id,
                "number": number,
                "kind": each["kind"],
                "after_reading": each["after_reading"],
                "replaced": each.get("replaced", False),
                "turns": float(each["turns"]) if "turns" in each else None,
                **{name: each.get(name, "") for name in names},
            },
        )
        for number, each in enumerate(content.get("work", []), start=1)
    ]


def _defect_rows(content: dict[str, Any], visit_id: uuid.UUID) -> list[Row]:
    return [
        Row(
            Defect,
            part_id(visit_id, "defect", number),
            {
                "visit_id": visit_id,
                "appliance_id": uuid.UUID(content["appliance"]),
                **{name: each[name] for name in ("what", "severity")},
                **{name: each.get(name, "") for name in ("where", "action", "told")},
                "done": each.get("done", False),
                "repair_by": _day(each.get("repair_by")),
            },
        )
        for number, each in enumerate(content.get("defects", []), start=1)
    ]


def _known(model: type[Person] | type[Analyser], given: list[str]) -> dict[str, uuid.UUID]:
    ids = {text: found for text in given if (found := _uuid(text))}
    present = set(model._default_manager.filter(id__in=ids.values()).values_list("id", flat=True))
    return {text: each for text, each in ids.items() if each in present}


def _uuid(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _signer(content: dict[str, Any]) -> str:
    return str(content.get("signature", {}).get("person", ""))


def _moment(text: str | None) -> datetime | None:
    """A time with its offset; a day alone is no moment."""
    return datetime.fromisoformat(text) if text and "T" in text else None


def _day(text: str | None) -> Any:
    return datetime.fromisoformat(text).date() if text else None


def _figure(value: dict[str, str] | None) -> float | None:
    return float(value["figure"]) if value and "figure" in value else None


def _qualifiers(values: dict[str, dict[str, str]]) -> dict[str, str]:
    return {name: each["qualifier"] for name, each in values.items() if each["qualifier"] != "="}


def local_date(content: dict[str, Any], time_zone: str) -> Any:
    """The site's date of the last reading; without a reading's time, of leaving or arriving."""
    taken = [each["taken_at"] for each in content.get("readings", []) if each.get("taken_at")]
    if taken and all("T" not in each for each in taken):
        return max(_day(each) for each in taken)
    attendance = content["attendance"]
    moments = [moment for each in taken if (moment := _moment(each))]
    last = max(moments) if moments else _moment(attendance.get("left_at") or attendance["arrived_at"])
    assert last is not None
    return last.astimezone(ZoneInfo(time_zone)).date()


def _site_pressure_pa(content: dict[str, Any]) -> float:
    """Barometric pressure read at the visit, else the standard atmosphere's at the site's altitude [Pa]."""
    read = _figure(content.get("conditions", {}).get("barometric_pressure"))
    return float(barometric_pressure_pa(float(content["site"]["altitude_m"]))) if read is None else read


def _input_kw_gross(gas_rate: dict[str, str] | None, pressure_pa: float, fuel: Fuel) -> float | None:
    """Heat input from the timed meter [kW gross]; gas at 15 °C and at no gauge pressure where neither was read.

    A heating value that the message doesn't have is the fuel's own, at 15 °C.
    None without a timed meter, and where neither the message nor the fuel has a heating value by volume.
    """
    if not gas_rate or not (fuel.composition or "heating_value_mj_m3_gross" in gas_rate):
        return None
    volume_m3 = float(gas_rate["index_end"]) - float(gas_rate["index_start"])
    given = gas_rate.get("heating_value_mj_m3_gross")
    return float(
        heat_input_kw(
            volume_m3 * (CUBIC_FOOT_M3 if gas_rate["unit"] == "ft3" else 1.0),
            float(gas_rate["seconds"]),
            float(gas_rate.get("gas_temp_c", "15")),
            float(gas_rate.get("gas_pressure_pa", "0")),
            pressure_pa,
            gas_properties(fuel).hhv_mj_m3 if given is None else float(given),
            reference_temp_c=15.0 if given is None else float(gas_rate.get("heating_value_at_c", "15")),
        )
    )
