"""What a visit's readings mean: one row of derived figures a reading."""

import math
from collections.abc import Mapping
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from fleet.assess.judging.diagnosing import setting_doubts
from fleet.combustion import (
    LOSS_COEFFICIENTS,
    Criterion,
    Doubt,
    Fuel,
    barometric_pressure_pa,
    doubts_of_rows,
    figures_with_uncertainty,
    humidity_ratio,
    nox_from_no,
    overall,
    standard_uncertainties,
    steadiness,
)
from fleet.limits import fuel_class
from fleet.models import Reading, Visit
from fleet.models.judgements import Derived, SeriesSteadiness

# The only statutory loss formula whose limits ship with us, by class of fuel: its coefficients go by name with each
# figure.
LOSS_SETS = {"natural_gas": "de_2010_natural_gas", "lpg": "de_2010_liquefied_gas", "oil_light": "de_2010_light_oil"}
READ = ("o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "input_kw_gross")


# ---- what the readings mean ----


def derive(
    visit: Visit, readings: list[Reading], *, sheet: Mapping[str, Any], site: Mapping[str, Any]
) -> dict[int, Derived]:
    """By the number of each reading, in their order; all readings in one pass.

    site: the facts of the site as the record has them.
    """
    if not readings:
        return {}
    fuel = visit.burnt
    read = {name: _column(readings, name) for name in READ}
    read["nox_ppm"] = np.where(np.isnan(read["nox_ppm"]), nox_from_no(read["no_ppm"]), read["nox_ppm"])
    pressure_pa = visit.barometric_pressure_pa or float(barometric_pressure_pa(float(site["altitude_m"])))
    loss_set = LOSS_SETS.get(fuel_class(fuel) or "")
    stated = _stated(visit, readings, read)
    found = figures_with_uncertainty(
        fuel,
        read,
        stated,
        [_qualifiers(each) for each in readings],
        co2_basis=[_co2_basis(each) for each in readings],
        pressure_pa=pressure_pa,
        humidity_ratio=_humidity(visit, read["air_temp_c"], pressure_pa),
        loss=LOSS_COEFFICIENTS[loss_set] if loss_set else None,
    )
    # Of what was read itself, where that is no derived figure; the derived ones go over them.
    trust = {name: stated[name] for name in ("co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c")} | dict(found.u)
    known = read | dict(found.figures)
    own: dict[str, Any] = {name: float(value) for name, value in site.get("steadiness", {}).items()}
    criterion = Criterion(**own)
    doubted = [
        (*shown, *setting_doubts(visit, each))
        for shown, each in zip(_doubts(fuel, readings, read), readings, strict=True)
    ]
    return {
        each.number: Derived(
            {
                "number": each.number,
                **(figures := {name: _number(values[n]) for name, values in found.figures.items()}),
                "input_share_pct": _input_share_pct(each.rate, figures, sheet),
                "uncertainties": {
                    name: _number(values[n]) for name, values in trust.items() if not math.isnan(known[name][n])
                },
                "qualifiers": dict(found.qualifiers[n]),
                "flue_loss_coefficients": loss_set,
                "o2_derived": each.o2_pct is None,
                "co2_derived": each.co2_pct is None,
                "nox_estimated": each.nox_ppm is None and each.no_ppm is not None,
                "steadiness": series_steadiness(each.series, criterion) if each.series else None,
                "doubts": doubted[n],
                "invalid": any(doubt.makes_invalid for doubt in doubted[n]),
            }
        )
        for n, each in enumerate(readings)
    }


def _stated(visit: Visit, readings: list[Reading], read: Mapping[str, Any]) -> dict[str, Any]:
    """Standard uncertainty of what was read: of each reading by its own analyser, if that was in calibration."""
    stated = {name: np.full(len(readings), math.nan) for name in READ}
    for analyser in {each.analyser for each in readings if each.analyser}:
        calibration = analyser.calibration_on(visit.local_date)
        mine = np.array([each.analyser == analyser for each in readings])
        if calibration:
            of_analyser = standard_uncertainties(analyser.accuracy, read, calibration=calibration.uncertainty)
            for name in READ:
                stated[name] = np.where(mine, of_analyser[name], stated[name])
    return stated


def _qualifiers(reading: Reading) -> dict[str, str]:
    """What isn't plain; nitrogen oxides estimated from NO inherit its word."""
    estimated = reading.nox_ppm is None and "no" in reading.qualifiers
    said: dict[str, str] = dict(reading.qualifiers)
    return said | ({"nox": said["no"]} if estimated else {})


def _co2_basis(reading: Reading) -> Any:
    """Whether its CO2 is a measurement of its own; an analyser that nobody knows is taken to calculate it."""
    return reading.analyser.co2 if reading.analyser else "calculated"


def _humidity(visit: Visit, air_temp_c: Any, pressure_pa: float) -> Any:
    """Water in the combustion air [kg/kg dry air]; dry air where its humidity or temperature was not read."""
    if visit.air_humidity_pct is None:
        return 0.0
    return np.nan_to_num(humidity_ratio(air_temp_c, visit.air_humidity_pct / 100, pressure_pa))


def _input_share_pct(rate: str, figures: Mapping[str, float | None], sheet: Mapping[str, Any]) -> float | None:
    """The timed input in percent of the sheet's rating at the highest rate, or of its least input at the lowest."""
    rates = sheet.get("rates", [])
    rated = sheet.get("rated_input_kw") if rate in rates[:1] else None
    if rate in rates[1:] and rate == rates[-1]:
        rated = sheet.get("minimum_input_kw")
    read_kw = figures[f"input_kw_{sheet['input_basis']}"] if rated else None
    return None if rated is None or read_kw is None else round(100 * read_kw / float(rated), 2)


def series_steadiness(series: Mapping[str, Any], criterion: Criterion) -> SeriesSteadiness:
    names = [name for name in ("o2", "co2", "co", "flue_temp") if name in series]
    values = {name: [_or_nan(each) for each in series[name]] for name in names}
    over = {name: np.ones(len(series["at_s"]), bool) for name in series.get("over_range", ()) if name in names}
    found = steadiness(
        [float(each) for each in series["at_s"]],
        values,
        from_cold=series.get("from_cold", False),
        criterion=criterion,
        over_range=over,
    )
    return SeriesSteadiness(
        overall(found), {name: replace(each, **_rounded(asdict(each))) for name, each in found.items()}
    )


def _doubts(fuel: Fuel, readings: list[Reading], read: Mapping[str, Any]) -> list[list[Doubt]]:
    found = doubts_of_rows(
        fuel,
        read["o2_pct"],
        read["co2_pct"],
        read["co_ppm"],
        co2_basis=[_co2_basis(each) for each in readings],
        flue_temp_c=read["flue_temp_c"],
    )
    return [[replace(each, figures=_rounded(each.figures)) for each in of_one] for of_one in found]


def _rounded(figures: Mapping[str, Any]) -> dict[str, Any]:
    """As a document holds them: None for NaN."""
    return {name: _number(value) if isinstance(value, float) else value for name, value in figures.items()}


def _column(readings: list[Reading], name: str) -> Any:
    return np.array([_or_nan(getattr(each, name)) for each in readings])


def _or_nan(value: float | str | None) -> float:
    return math.nan if value is None else float(value)


def _number(value: Any) -> float | None:
    number = float(value)
    return round(number, 6) if math.isfinite(number) else None
