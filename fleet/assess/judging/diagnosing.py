"""What a visit's readings suggest: patterns of this visit and its change since the last, and of visits elsewhere."""

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any, cast

import numpy as np

from fleet.assess.judging.changes import (
    O2Change,
    RateReading,
    at_rate,
    changes_at_building,
    changes_by_analyser,
    last_tested_before,
    left_phases,
    readings_like,
)
from fleet.combustion import FUELS, Doubt, Fuel, air_free, co_rise, corrected_to_reference
from fleet.limits import FUEL_CLASSES, VisitView, analyser_shift, copied_readings, diagnose, fuel_class, site_shift
from fleet.limits import Diagnosis as Suggestion
from fleet.models import Judgement, Reading, Visit
from fleet.models.judgements import Derived

PATTERNS = Path(__file__).resolve().parents[3] / "fixtures" / "reference" / "diagnostics.json"
# What an analyser read over the newest visits, so many at most: more would hold a drift of last year against it.
MOST_OF_AN_ANALYSER = 60
# As far as two fuels of one class may lie apart: the error that a CO2 cell is allowed anyway.
LARGEST_CO2_MAX_GAP_PCT = 0.3
# Before a fuel that no class of fuels stands for: what the analyser calculates is that fuel's CO2.
CO2_OF = "co2_of_"
# Patterns that make a reading invalid by how the analyser was set up, not by what it shows.
OF_THE_SETTING = ("DX10", "DX11")
# Named in the limits' own words among an appliance's facts.
NATURAL_DRAUGHT = {"vent": "natural_draft"}


@cache
def patterns() -> tuple[Mapping[str, Any], ...]:
    """The rows of the data file: thresholds, words, causes, checks, evidence."""
    return tuple(_data()["patterns"])


def patterns_version() -> int:
    """Of the data file: kept with what it gave."""
    return int(_data()["version"])


@cache
def _data() -> Mapping[str, Any]:
    data: Mapping[str, Any] = json.loads(PATTERNS.read_text())
    return data


def setting_doubts(visit: Visit, reading: Reading) -> tuple[Doubt, ...]:
    """What makes a reading invalid whatever it shows: the analyser's zero in fresh air, the fuel that it was set to."""
    if visit.zero_o2_pct is None and visit.zero_co_ppm is None and not reading.analyser_fuel:
        return ()
    view = VisitView(
        fuel=fuel_class(visit.burnt) or "",
        analyser_fuel=_set_to(reading, visit.burnt),
        zero_o2_pct=visit.zero_o2_pct,
        zero_co_ppm=visit.zero_co_ppm,
    )
    found = diagnose(view, [each for each in patterns() if each["id"] in OF_THE_SETTING])
    return tuple(Doubt(f"pattern_{each.pattern.lower()}", each.figures, True, each.named) for each in found)


# ---- what the patterns are shown ----


def view_of(visit: Visit, judgement: Judgement) -> VisitView:
    sheet = judgement.sheet_version.content if judgement.sheet_version else {}
    rates = judgement.table.sheet.rates or list(dict.fromkeys(each.rate for each in visit.readings.all()))
    places = dict(zip(("high", "low"), [*rates[:1], *rates[1:][-1:]], strict=False))
    visit.judgement = judgement
    before = last_tested_before(visit) if visit.readings.all() else None
    outside = _outside_bands(judgement)
    readings = list(visit.readings.all())
    ambient = [each.ambient_co_ppm for each in readings] + [visit.ambient_co_after_ppm]
    return VisitView(
        found=_state(visit, places, ("as_found",), sheet, outside),
        left=_state(visit, places, ("as_left",), sheet, outside),
        last=_state(before, places, left_phases(before), sheet, {}) if before and _same_gas(visit, before) else {},
        co2_basis=next((each.analyser.co2 for each in readings if each.analyser), "absent"),
        fuel=fuel_class(visit.burnt) or "",
        analyser_fuel=next((set_to for each in readings if (set_to := _set_to(each, visit.burnt))), ""),
        co2_max_pct=judgement.table.fuel.co2_max_pct,
        zero_o2_pct=visit.zero_o2_pct,
        zero_co_ppm=visit.zero_co_ppm,
        ambient_before_ppm=visit.ambient_co_before_ppm,
        ambient_max_ppm=max((each for each in ambient if each is not None), default=None),
        natural_draught=_natural_draught(visit, sheet),
        minimum_working_pressure_pa=_float(sheet.get("minimum_gas_pressure_pa")),
        spillage_limit_min=judgement.stop_levels.spillage_min,
        adjusted=any(each.kind == "adjustment" for each in visit.work.all()),
        readings=tuple(_as_read(each) for each in readings if each.counted_phase != "between"),
    )


def _state(
    visit: Visit,
    places: Mapping[str, str],
    phases: Sequence[str],
    sheet: Mapping[str, Any],
    outside: Mapping[int, bool],
) -> dict[str, dict[str, Any]]:
    """By place; a rate that wasn't read has no figure, and stands all the same: it too would have had to move."""
    found = {place: at_rate(visit, rate, phases, invalid_too=True) for place, rate in places.items()}
    return {place: _figures(visit, each, sheet, outside) if each else {} for place, each in found.items()}


def _figures(visit: Visit, each: RateReading, sheet: Mapping[str, Any], outside: Mapping[int, bool]) -> dict[str, Any]:
    reading, derived = each.reading, each.derived
    flue, air = reading.flue_temp_c, reading.air_temp_c
    return {
        **{name: getattr(derived, name) for name in ("o2_pct", "co2_pct", "co_ppm_air_free", "input_share_pct")},
        **_as_read(reading),
        "o2_pct": derived.o2_pct,
        "o2_corrected_pct": _corrected_o2(visit, derived.o2_pct, air, sheet),
        "net_temp_k": None if flue is None or air is None else flue - air,
        "smoke_spot": reading.smoke_spot,
        "oil_derivatives": reading.oil_derivatives,
        "spillage_min": reading.spillage_min,
        "outside": outside.get(reading.number),
        "invalid": derived.invalid,
        **_of_series(reading, derived),
    }


def _as_read(reading: Reading) -> dict[str, Any]:
    columns = ("o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "draught_pa")
    read = {name: getattr(reading, name) for name in (*columns, "gas_pressure_working_pa")}
    return read | {"phase": reading.counted_phase, "rate": reading.rate}


def _corrected_o2(visit: Visit, o2_pct: float | None, air_c: float | None, sheet: Mapping[str, Any]) -> float | None:
    """At 20 °C intake air by the sheet's control; None where something of that is unknown."""
    if o2_pct is None or air_c is None or "control" not in sheet:
        return None
    value, _spread = corrected_to_reference(visit.burnt, cast(Any, sheet["control"]), "o2", o2_pct, air_c)
    return None if np.isnan(value) else float(value)


def _of_series(reading: Reading, derived: Derived) -> dict[str, float]:
    """How CO moved while it was logged."""
    if not reading.series or "co" not in reading.series:
        return {}
    co = [np.nan if each is None else float(each) for each in reading.series["co"]]
    moved = co_rise([float(each) for each in reading.series["at_s"]], co)
    o2_pct = np.nan if derived.o2_pct is None else derived.o2_pct
    settled, read = float(air_free(moved.last_mean_ppm, o2_pct)), derived.co_ppm_air_free
    return {
        "co_slope_ppm_min": moved.slope_ppm_min,
        "co_first_minute_ppm_air_free": float(air_free(moved.first_minute_max_ppm, o2_pct)),
        # The worse of what was read and what the series came to.
        "co_ppm_air_free": settled if read is None else max(settled, read),
    }


def _outside_bands(judgement: Judgement) -> dict[int, bool]:
    """By reading whether its target's verdict is outside; only where that was judged."""
    return {
        int(each.reading_key): each.outcome == "outside"
        for each in judgement.said
        if each.kind == "band" and each.reading_key and each.outcome in ("within", "outside")
    }


def _same_gas(visit: Visit, before: Visit) -> bool:
    return hasattr(before, "judgement") and visit.burnt == before.burnt


def _natural_draught(visit: Visit, sheet: Mapping[str, Any]) -> bool | None:
    if "natural_draught" in sheet:
        return bool(sheet["natural_draught"])
    recorded = {name: visit.appliance.facts.get(name) for name in NATURAL_DRAUGHT}
    return recorded == NATURAL_DRAUGHT if None not in recorded.values() else None


def _set_to(reading: Reading, fuel: Fuel) -> str:
    """The class of the fuel that the analyser was set to; the fuel itself where CO2 calculated for it would be off."""
    if not reading.analyser_fuel:
        return ""
    measured = reading.analyser is not None and reading.analyser.co2 == "measured"
    gap = abs(FUELS[reading.analyser_fuel].co2_max_pct - fuel.co2_max_pct)
    if not measured and gap > LARGEST_CO2_MAX_GAP_PCT:
        return f"{CO2_OF}{reading.analyser_fuel}"
    return FUEL_CLASSES.get(reading.analyser_fuel, reading.analyser_fuel)


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


# ---- what needs other visits ----


def suggested_elsewhere(visit: Visit) -> list[Suggestion]:
    """Readings copied, a site or an analyser that moved as a whole: reads other visits and writes nothing."""
    rows = [_numbered(each) for each in visit.readings.all()]
    like = [_numbered(each) for each in readings_like(visit)]
    found = [copied_readings(rows, like, patterns()), site_shift(_plain(changes_at_building(visit)), patterns())]
    for analyser in {each.analyser for each in visit.readings.all() if each.analyser}:
        changes = changes_by_analyser(analyser, visit.local_date, MOST_OF_AN_ANALYSER)
        found.append(analyser_shift(_plain(changes), patterns()))
    strictest: dict[str, Suggestion] = {}
    for each in found:
        if each is not None:
            strictest.setdefault(each.pattern, each)
    return list(strictest.values())


def _numbered(reading: Reading) -> dict[str, Any]:
    read = {name: value for name, value in _as_read(reading).items() if name not in ("phase", "rate")}
    return read | {"id": str(reading.id), "number": reading.number}


def _plain(changes: Iterable[O2Change]) -> list[dict[str, Any]]:
    return [
        {
            "visit": str(each.visit_id),
            "appliance": str(each.appliance_id),
            "building": str(each.building_id),
            "change_pct": each.change_pct,
        }
        for each in changes
    ]
