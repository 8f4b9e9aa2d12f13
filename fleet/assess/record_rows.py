"""Which rows a record of the register projects to."""

import uuid
from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from fleet.models import (
    Calibration,
    GasConversion,
    LimitSetVersion,
    OutOfUse,
    Qualification,
    Record,
    SheetVersion,
    StopLevels,
)
from fleet.models.records import Row, content_of


def calibration_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    values = {
        "analyser_id": uuid.UUID(content["analyser"]),
        "done_on": date.fromisoformat(content["done_on"]),
        "valid_to": date.fromisoformat(content["valid_to"]),
        "certificate": content["certificate"],
        "by": content["by"],
        "passed": content["passed"],
        "uncertainty": content.get("uncertainty", {}),
        "record_id": record_id,
    }
    return [Row(Calibration, uuid.UUID(content["id"]), values)]


def sheet_version_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    values = {
        "sheet_id": uuid.UUID(content["sheet"]),
        "number": content["number"],
        "content": content["content"],
        "record_id": record_id,
    }
    return [Row(SheetVersion, uuid.UUID(content["id"]), values)]


def gas_conversion_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    plain = ("from_fuel", "to_fuel", "kit", "label", "analyser_fuel", "done_by", "test_within_days")
    values = {
        "appliance_id": uuid.UUID(content["appliance"]),
        "converted_on": date.fromisoformat(content["converted_on"]),
        "sheet_id": uuid.UUID(content["sheet"]) if content["sheet"] else None,
        **{name: content[name] for name in plain},
        "record_id": record_id,
    }
    return [Row(GasConversion, uuid.UUID(content["id"]), values)]


def limit_set_version_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    review = content["review"]
    values = {
        "limit_set_id": uuid.UUID(content["limit_set"]),
        "number": content["number"],
        "content": content["content"],
        "evidence": content["content"]["evidence"],
        "reviewed_by": review.get("by", ""),
        "reviewed_on": date.fromisoformat(review["on"]) if review else None,
        "review_source": review.get("source", ""),
        "record_id": record_id,
    }
    return [Row(LimitSetVersion, uuid.UUID(content["id"]), values)]


def stop_levels_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    figures = ("co_ppm_air_free", "ambient_co_ppm", "ambient_co_rise_ppm", "co_rising_above_ppm", "spillage_min")
    values: dict[str, Any] = {name: float(content[name]) for name in figures}
    values |= {"number": content["number"], "evidence": content["evidence"], "record_id": record_id}
    return [Row(StopLevels, uuid.UUID(content["id"]), values)]


def out_of_use_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    texts = ("proof", "restart_said_by", "restart_proof")
    values = {
        "appliance_id": uuid.UUID(content["appliance"]),
        "begins": date.fromisoformat(content["begins"]),
        "ends": date.fromisoformat(content["ends"]) if content.get("ends") else None,
        "why": content["why"],
        "said_by": content["said_by"],
        **{name: content.get(name, "") for name in texts},
        "record_id": record_id,
    }
    return [Row(OutOfUse, uuid.UUID(content["id"]), values)]


def qualification_rows(content: dict[str, Any], record_id: uuid.UUID) -> list[Row]:
    values = {
        "person_id": uuid.UUID(content["person"]),
        "scheme": content["scheme"],
        "number": content["number"],
        "fuel_kinds": content["fuel_kinds"],
        "valid_from": date.fromisoformat(content["valid_from"]),
        "valid_to": date.fromisoformat(content["valid_to"]),
        "record_id": record_id,
    }
    return [Row(Qualification, uuid.UUID(content["id"]), values)]


def closings_said(appliances: Iterable[uuid.UUID]) -> dict[tuple[uuid.UUID, uuid.UUID], list[uuid.UUID]]:
    """By appliance and defect the visits whose records in force say that they closed it, in the records' order."""
    said: dict[tuple[uuid.UUID, uuid.UUID], list[uuid.UUID]] = defaultdict(list)
    for record in Record.objects.filter(visit__appliance__in=appliances).order_by("id"):
        content = content_of(record)
        for defect in content.get("closes_defects", []):
            said[uuid.UUID(content["appliance"]), uuid.UUID(defect)].append(record.subject)
    return said
