"""Rows of the decision table that end the firing, whatever sheet and sets say: the contractor's own stop levels."""

from typing import Any

from fleet.limits.quantities import label, measure_for
from fleet.limits.rows import Origin, Row, Source, provenance, row
from fleet.limits.tolerance import exact

# Spillage beyond this fails with a cold vent: published residential practice, from memory.
SPILLAGE_MIN = 5


def stop_rows(lines: Source) -> list[Row]:
    """The contractor's own stop levels; ValueError where CO or ambient CO has none."""
    for name in ("co_ppm_air_free", "ambient_co_ppm"):
        if not lines.get(name) or exact(lines[name]) <= 0:
            raise ValueError(f"there is always a stop level: {name} must be a figure above zero")
    origin = provenance(lines, kind="stop_level")
    return [_stop_row(origin, lines, **line) for line in _stop_levels(lines)]


def _stop_levels(lines: Source) -> list[dict[str, Any]]:
    def figure(name: str, default: float | None = None) -> float | None:
        return default if lines.get(name) is None else float(exact(lines[name]))

    return [
        {"quantity": "co_ppm_air_free", "op": ">", "limit": figure("co_ppm_air_free"), "every_reading": True},
        {"quantity": "co_trend_in_test", "op": "rising_and_over", "limit": figure("co_rising_above_ppm", 100)},
        {"quantity": "ambient_co", "op": ">=", "limit": figure("ambient_co_ppm")},
        {"quantity": "ambient_co_rise", "op": ">=", "limit": figure("ambient_co_rise_ppm", 5)},
        {"quantity": "spillage_time", "op": ">", "limit": figure("spillage_min", SPILLAGE_MIN), "unit": "min"},
        {"quantity": "flame", "op": "!=", "limit": "stable", "unit": ""},
    ]


def _stop_row(origin: Origin, lines: Source, *, quantity: str, unit: str = "ppm", **rest: Any) -> Row:
    basis = "air_free" if quantity == "co_ppm_air_free" else "as_measured"
    return row(
        origin,
        measure_for(quantity, basis, unit),
        quantity=quantity,
        limit_id=quantity,
        severity="stop_firing",
        unit=unit,
        basis=basis,
        action=lines.get("action") or "",
        asks="ventilate" if quantity.startswith("ambient") else "leave_off",
        **rest,
    )


def dilution_row(stop_level: Row) -> Row:
    """What is said of the CO in a sample that is mostly air, under the stop level that can't be judged there."""
    raw = {"quantity": "co", "label": label("co", None), "basis": "as_measured", "keeps": None}
    return stop_level.but(**raw, action="", asks="repeat_sample")
