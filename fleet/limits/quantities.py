"""How a limit's quantity, basis and unit are read off a reading, as data that any evaluator can follow.

A measure says: take this field of the reading, multiply by this factor, divide by the CO2 or by this O2 in air less
the O2. What no single reading can show has no measure, and a code says what would be needed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fleet.coded import as_row
from fleet.numerals import figure_apart

O2_IN_AIR_TRADE_PCT = 20.9
# German texts undilute with 21 % O2 in air.
O2_IN_AIR_GERMAN_PCT = 21.0
# mg per normal cubic metre (0 degC, 101 325 Pa) for 1 ppm; nitrogen oxides counted as NO2.
MG_M3_PER_PPM = {"co": 1.250, "nox": 2.0525}

# By any of these a reading is judged for the CO in its flue gas.
CO_QUANTITIES = frozenset({"co", "co_ppm_air_free", "co_co2_ratio"})

# A ratio of ppm to per cent, as parts.
PARTS_PER_PPM_PCT = 1e-4

NOMINAL_RATES = ("high", "nominal", "rated, else highest settable", "nominal or highest settable", "highest effective")
ANY_RATES = ("any", "any_normal_load", "high_or_typical_load", "steady >= 5 min", "normal operation")

# Basis -> (reference O2, O2 in air); None where the value is taken as measured.
DILUTIONS: Mapping[str, tuple[float, float] | None] = {
    "air_free": (0.0, O2_IN_AIR_TRADE_PCT),
    "as_measured_or_air_free": (0.0, O2_IN_AIR_TRADE_PCT),
    "undiluted": (0.0, O2_IN_AIR_GERMAN_PCT),
    "undiluted_dry": (0.0, O2_IN_AIR_GERMAN_PCT),
    "dry_at_3_pct_o2": (3.0, O2_IN_AIR_TRADE_PCT),
    "dry_at_7_pct_o2": (7.0, O2_IN_AIR_TRADE_PCT),
    "as_measured": None,
    "dry": None,
    "upstream_of_draught_control": None,
}

# Quantities taken straight from one field of the reading.
PLAIN_FIELDS: Mapping[str, str] = {
    "ambient_co": "ambient_co_ppm",
    "ambient_co_rise": "ambient_co_rise_ppm",
    "co_trend_in_test": "co_while_rising_ppm",
    "flue_loss": "flue_loss_pct",
    "flue_temp": "flue_temp_c",
    "draught": "draught_pa",
    "soot_number": "smoke_spot",
    "smoke": "smoke_spot",
    "spillage_time": "spillage_min",
    "oil_derivatives": "oil_derivatives",
    "spillage_or_condensation": "spillage_or_condensation",
    "flame": "flame",
    "co2": "co2_pct",
    "excess_air_ratio": "excess_air_ratio",
}

# Read outside the flue, so neither the sampling point nor the dilution of the sample touches them.
OUTSIDE_THE_FLUE = ("ambient_co_ppm", "ambient_co_rise_ppm", "spillage_min", "spillage_or_condensation", "flame")

# What would be needed of quantities that no reading shows.
NEEDS: Mapping[str, str] = {
    "ambient_co_twa8h": "needs_8h_average",
    "ambient_co_8h": "needs_8h_average",
    "ambient_co_15min": "needs_15min_average",
    "ambient_co_24h": "needs_24h_average",
    "o2_trim_setpoint": "needs_trim_setpoint",
    "examination_26_9": "needs_examination",
}


# What a figure to keep can be, of each quantity in ppm, % or the unit that its name says; own judgement, no source.
POSSIBLE: Mapping[str, tuple[float, float]] = {
    **dict.fromkeys((*CO_QUANTITIES - {"co_co2_ratio"}, "co_trend_in_test"), (0.0, 10_000.0)),
    **dict.fromkeys(("ambient_co", "ambient_co_rise"), (0.0, 2_000.0)),
    **dict.fromkeys((name for name in NEEDS if name.startswith("ambient_co")), (0.0, 2_000.0)),
    "nox": (0.0, 5_000.0),
    "co_co2_ratio": (0.0, 0.1),
    "o2": (0.0, 21.0),
    "co2": (0.0, 21.0),
    "o2_trim_setpoint": (0.0, 21.0),
    "flue_temp": (0.0, 1_000.0),
    "flue_loss": (0.0, 100.0),
    "combustion_efficiency": (0.0, 112.0),
    "soot_number": (0.0, 9.0),
    "smoke": (0.0, 9.0),
    "draught": (-500.0, 500.0),
    "spillage_time": (0.0, 120.0),
    "excess_air_ratio": (1.0, 20.0),
}
# A mass a volume or a kWh is never more than this many times the ppm: NOx as NO2, 2.05 and about 1.8.
MASS_PER_PPM = 2.1


def possible(quantity: str, unit: str | None) -> tuple[float, float] | None:
    """Between which figures a limit of the quantity can lie; None of a quantity that isn't known.

    >>> possible("co", "ppm"), possible("soot_number", "1"), possible("stack_height", "m")
    ((0.0, 10000.0), (0.0, 9.0), None)
    """
    known = POSSIBLE.get(quantity)
    if known and (unit or "").startswith("mg/"):
        return known[0], MASS_PER_PPM * known[1]
    return known


# How a value of each is written: the decimals of the reading that it is about.
DECIMALS: Mapping[str, int] = {
    "co": 0,
    "co_ppm_air_free": 0,
    "co_trend_in_test": 0,
    "nox": 0,
    "ambient_co": 0,
    "ambient_co_rise": 0,
    "o2": 1,
    "co2": 2,
    "flue_temp": 1,
    "draught": 1,
    "soot_number": 0,
    "smoke": 0,
    "spillage_time": 1,
    "co_co2_ratio": 4,
    "excess_air_ratio": 2,
}
OTHER_DECIMALS = 1


def decimals_of(quantity: str) -> int:
    return DECIMALS.get(quantity, OTHER_DECIMALS)


@dataclass(frozen=True)
class Measure:
    """A reading's field times a factor, over its CO2 or over the O2 in air less its O2 where it is `scaled_by` one.

    whole : round half up to a whole number first, as the mean of three smoke spots is.
    """

    field: str
    factor: float = 1.0
    scaled_by: str | None = None
    o2_in_air_pct: float | None = None
    whole: bool = False
    in_flue: bool = True


@dataclass(frozen=True)
class Reading:
    """Where a limit's value comes from: a measure, or None and what is needed, coded."""

    measure: Measure | None
    needs: list[Any] | None = None


def label(quantity: str, basis: str | None) -> list[Any]:
    """What is read, coded: the quantity, and the O2 in per cent at which a concentration is told.

    >>> label("co", "undiluted"), label("nox", "dry_at_3_pct_o2")
    (['co_ppm_air_free', {}], ['nox', {'at_o2_pct': 3.0}])
    """
    if basis == "air_inlet":
        return as_row("intake_o2")
    dilution = DILUTIONS.get(basis or "")
    if quantity == "co" and dilution and dilution[0] == 0:
        return as_row("co_ppm_air_free")
    return as_row(quantity) if dilution is None or not dilution[0] else as_row(quantity, at_o2_pct=dilution[0])


def figure(value: float | str | None, quantity: str, *limits: float | None) -> str:
    """A value at its quantity's decimals, or as many more as it takes not to look like a limit that it isn't.

    >>> figure(97.036, "co_ppm_air_free"), figure(250.04, "co_ppm_air_free", 250.0)
    ('97', '250.04')
    """
    if value is None or isinstance(value, str):
        return value or "-"
    return figure_apart(value, decimals_of(quantity), [each for each in limits if each is not None])


def measure_for(quantity: str, basis: str | None, unit: str | None) -> Reading:
    """How the quantity is read on that basis and in that unit."""
    basis = basis or "as_measured"
    if quantity == "co_ppm_air_free":
        return _concentration("co", "air_free", unit)
    if quantity in ("co", "nox"):
        return _concentration(quantity, basis, unit)
    if quantity == "co_co2_ratio":
        return Reading(Measure("co_ppm", PARTS_PER_PPM_PCT, "co2_pct"))
    if quantity == "o2":
        return Reading(Measure("intake_o2_pct" if basis == "air_inlet" else "o2_pct"))
    if quantity == "combustion_efficiency":
        return _efficiency(basis)
    if quantity in PLAIN_FIELDS:
        field = PLAIN_FIELDS[quantity]
        return Reading(Measure(field, whole=basis == "mean_of_three", in_flue=field not in OUTSIDE_THE_FLUE))
    return Reading(None, as_row(NEEDS.get(quantity, "needs_quantity")))


def _diluted(field: str, dilution: tuple[float, float] | None, factor: float = 1.0) -> Measure:
    if dilution is None:
        return Measure(field, factor)
    reference, in_air = dilution
    return Measure(field, factor * (in_air - reference), "o2_pct", in_air)


def _concentration(gas: str, basis: str, unit: str | None) -> Reading:
    if unit == "mg/kWh":
        # Its conversion depends on the fuel and the text, so the figure is taken from the instrument.
        return Reading(Measure(f"{gas}_mg_per_kwh"))
    if basis not in DILUTIONS:
        return Reading(None, as_row("needs_basis", gas=gas, basis=basis))
    if unit in (None, "ppm", "ppmv", "ppmvd"):
        return Reading(_diluted(f"{gas}_ppm", DILUTIONS[basis]))
    if unit in ("mg/m3", "mg/Nm3"):
        return Reading(_diluted(f"{gas}_ppm", DILUTIONS[basis], MG_M3_PER_PPM[gas]))
    return Reading(None, as_row("needs_unit", gas=gas, unit=unit))


def _efficiency(basis: str) -> Reading:
    kind = next((kind for kind in ("gross", "net") if basis.startswith(kind)), None)
    if kind is None:
        return Reading(None, as_row("needs_efficiency", basis=basis))
    return Reading(Measure(f"efficiency_pct_{kind}"))
