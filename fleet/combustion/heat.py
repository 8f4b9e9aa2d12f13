"""Where the heat of the fuel goes: flue losses, condensation and combustion efficiency by enthalpy.

An engineering figure. The loss that a regulation asks for comes from `regulation` with its own coefficients.

Many states are calculated in blocks that stay in the processor's cache. A fuel comes down to one polynomial, the
enthalpy of its flue gas without excess air; the excess air has another. Saturation is looked at only for rows
cold enough to condense.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from enum import IntFlag
from functools import lru_cache
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import ROUNDING, flue_gas
from fleet.combustion.fuel_rows import AnyFuel, FuelRows
from fleet.combustion.fuels import Fuel
from fleet.combustion.gases import (
    AIR,
    AIR_MASS_G_MOL,
    CO_HEAT_KJ_MOL,
    ENTHALPY,
    ENTHALPY_RANGE_C,
    HEATING_VALUE_TEMP_C,
    STANDARD_PRESSURE_PA,
    VAPORISATION_KJ_MOL,
    WATER_HEAT_CAPACITY_J_MOL_K,
    WATER_MASS_G_MOL,
)
from fleet.combustion.humidity import (
    SATURATION_RANGE_C,
    highest_dew_point_c,
    saturation_pressure_pa,
    saturation_temperature_c,
)

KJ_PER_KWH: Final = 3600.0
# Rows of a block: few enough that the arrays in use at once stay in the cache, enough that numpy's calls don't count.
BLOCK: Final = 16384
# So few rows that condense are quicker one by one: numpy's scalars take a fifth of the time of its shortest arrays.
FEW: Final = 5
# Slack around the temperature above which nothing can condense; the two saturation equations agree to 1e-6 K.
BOUND_SLACK_K: Final = 0.01
# Keeps a share of no water from being divided by zero [mol/mol fuel].
LEAST_WATER: Final = 1e-300


class HeatFlag(IntFlag):
    """What to know about a heat balance; several can hold at once."""

    CONDENSING = 1
    RICH = 2
    FLUE_BELOW_AIR = 4
    OUTSIDE_ENTHALPY_RANGE = 8


@dataclass(frozen=True, slots=True)
class Losses:
    """Losses and efficiencies in percent of the net or gross heating value at 25 °C, shape of the inputs.

    A figure is NaN only where something that it rests on is.

    sensible_loss_pct_net: heat of the flue gas above air temperature, all its water as vapour.
    latent_loss_pct_gross: vaporisation heat of the vapour that leaves, less what came in with the air;
    negative if more leaves as liquid than combustion made.
    unburnt_loss_pct_net: heat of the CO. condensate_fraction: condensed share of all water [0 to 1].
    condensate_kg_per_kwh_gross: liquid water per kWh of gross input.
    efficiency_pct_net, efficiency_pct_gross: first law, fuel and air entering at air temperature.
    flags: HeatFlag bits as integers.
    """

    sensible_loss_pct_net: Floats
    latent_loss_pct_gross: Floats
    unburnt_loss_pct_net: Floats
    condensate_fraction: Floats
    condensate_kg_per_kwh_gross: Floats
    efficiency_pct_net: Floats
    efficiency_pct_gross: Floats
    flags: NDArray[np.int64]


CONDENSING: Final = HeatFlag.CONDENSING.value
FIGURES: Final = tuple(each.name for each in fields(Losses))


@dataclass(frozen=True, slots=True)
class HeatBalance(Losses):
    """Losses and efficiencies; water_pressure_pa is that of the water in the flue gas, nothing condensed [Pa]."""

    water_pressure_pa: Floats

    @property
    def dew_point_c(self) -> Floats:
        """Temperature at which the flue gas begins to condense [°C]; it needs no flue temperature.

        Calculated when asked for, because it takes as long as half of the balance.
        """
        return saturation_temperature_c(self.water_pressure_pa)


@QUIET
def heat_balance(
    fuel: AnyFuel,
    excess_air_ratio: ArrayLike,
    flue_temp_c: ArrayLike,
    air_temp_c: ArrayLike,
    *,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    humidity_ratio: ArrayLike = 0.0,
    co_ppm: ArrayLike = 0.0,
) -> HeatBalance:
    """Heat balance of the flue gas leaving at flue_temp_c; inputs broadcast, NaN in gives NaN out.

    excess_air_ratio: at least 1, NaN results below (flag RICH). flue_temp_c, air_temp_c [°C]; fuel and air
    enter at air_temp_c. pressure_pa: of the flue gas. humidity_ratio: of the air [kg/kg dry air].
    co_ppm: CO in the dry flue gas as measured [ppm]; of the ratio's dry flue gas, which has burnt out,
    there is 1 / (1 - CO/2) (see `flue_gas`).

    Below the dew point the gas leaves saturated over pure water and the condensate leaves at the flue
    temperature; a real appliance whose flue gas is colder on average than at the probe condenses differently.
    100 less the sensible and unburnt losses differs from efficiency_pct_net, where nothing condenses, by at
    most 0.03 points for air of 5 to 35 °C (hydrogen 0.09), because heating values belong to 25 °C.

    Source: enthalpies fitted to the NASA 7-coefficient data (McBride and others), -20 to 300 °C, flagged
    outside; saturation by IAPWS-IF97; sulfur dioxide is counted with the enthalpy of carbon dioxide.

    >>> from fleet.combustion.fuels import FUELS
    >>> balance = heat_balance(FUELS["methane"], 1.25, 30.0, 20.0)
    >>> round(float(balance.efficiency_pct_gross), 1), round(float(balance.efficiency_pct_net), 1)
    (97.2, 107.8)
    """
    shape, rows = _in_one_line(fuel, excess_air_ratio, flue_temp_c, air_temp_c, pressure_pa, humidity_ratio, co_ppm)
    out, water_pa, bound_c = _room(rows.size), np.empty(rows.size), _no_condensate_above_c(rows)
    for at, block in _blocks(rows):
        _fill(out, at, block, bound_c, water_pa)
    return HeatBalance(**_shaped(out, shape), water_pressure_pa=water_pa.reshape(shape)[()])


# ---- what a fuel and a mole of air come down to ----


def _enthalpy(coefficients: Sequence[float | Floats], x: Floats) -> Floats:
    """x (a + b x + c x^2 + d x^3), x the temperature above 25 °C [K]; in place, which halves the time."""
    a, b, c, d = coefficients
    total = d * x
    for coefficient in (c, b, a):
        total += coefficient
        total *= x
    return total


def _coefficients(moles: Mapping[str, float]) -> tuple[float, ...]:
    """Of the enthalpy of a gas of so many moles [kJ]."""
    return tuple(sum(n * ENTHALPY[species][power] for species, n in moles.items()) / 1000 for power in range(4))


DRY_AIR: Final = _coefficients(AIR)
STEAM: Final = _coefficients({"H2O": 1.0})
# What water gives off beyond the heat of vaporisation when it leaves as liquid of another temperature than 25 °C.
STEAM_OVER_WATER: Final = (STEAM[0] - WATER_HEAT_CAPACITY_J_MOL_K / 1000, *STEAM[1:])


class _PerMole(NamedTuple):
    """What the balance needs of a fuel: numbers for one fuel, arrays for a fuel per row.

    dry, air, water: dry products without excess air, air demand, water made [mol/mol fuel].
    feed: heat capacity of the fuel, a to d: coefficients of the products' enthalpy [% of net].
    net, gross: one kJ/mol fuel [% of net, % of gross].
    net_per_gross: net over gross heating value.
    """

    dry: float | Floats
    air: float | Floats
    water: float | Floats
    feed: float | Floats
    net: float | Floats
    gross: float | Floats
    net_per_gross: float | Floats
    a: float | Floats
    b: float | Floats
    c: float | Floats
    d: float | Floats

    @property
    def products(self) -> tuple[float | Floats, ...]:
        return self[-4:]


@lru_cache(maxsize=1024)
def _per_mole(fuel: Fuel) -> _PerMole:
    gas = flue_gas(fuel, 1.0)
    net = 100 / fuel.lhv_kj_mol
    moles = {"CO2": gas.co2 + gas.so2, "H2O": gas.water, "N2": gas.nitrogen, "Ar": gas.argon}
    return _PerMole(
        fuel.dry_products,
        fuel.air_demand,
        fuel.water_products,
        fuel.heat_capacity_j_mol_k / 1000 * net,
        net,
        net * fuel.net_per_gross,
        fuel.net_per_gross,
        *_coefficients({species: float(n) * net for species, n in moles.items()}),
    )


def _per_mole_of(fuel: AnyFuel) -> _PerMole:
    return _per_mole(fuel) if isinstance(fuel, Fuel) else _PerMole(*fuel.figures(_per_mole))


# ---- many rows ----


class _Rows(NamedTuple):
    """What a call was given, in one line; `ratio` is the excess air. The others may be one number for all rows."""

    fuel: AnyFuel
    ratio: Floats
    flue: Floats
    air: Floats
    pressure: Floats
    humidity: Floats
    co: Floats

    @property
    def size(self) -> int:
        return self.ratio.size


def _in_one_line(fuel: AnyFuel, *values: ArrayLike) -> tuple[tuple[int, ...], _Rows]:
    """The shape that fuel and inputs broadcast to, and the rows of that shape."""
    ratio, flue, air, pressure, humidity, co = map(floats, values)
    others = [flue, air, floats(only_where(pressure > 0, pressure)), humidity, co]
    of_fuel = [fuel.index] if isinstance(fuel, FuelRows) else []
    shape = np.broadcast(ratio, *others, *of_fuel).shape
    lines = [each if each.ndim == 0 else _line(each, shape) for each in others]
    return shape, _Rows(fuel.in_one_line(shape) if isinstance(fuel, FuelRows) else fuel, _line(ratio, shape), *lines)


def _line(values: Floats, shape: tuple[int, ...]) -> Floats:
    return (values if values.shape == shape else np.broadcast_to(values, shape)).reshape(-1)


def _blocks(rows: _Rows) -> Iterator[tuple[slice, _Rows]]:
    for start in range(0, rows.size, BLOCK):
        at = slice(start, start + BLOCK)
        fuel, *columns = rows
        yield at, _Rows(fuel[at] if isinstance(fuel, FuelRows) else fuel, *(_of(each, at) for each in columns))


def _room(size: int) -> Losses:
    """Zeros for the figures, in one piece: memory that nothing is written to costs nothing."""
    a, b, c, d, e, f, g, flags = np.zeros((len(FIGURES), size))
    return Losses(a, b, c, d, e, f, g, flags.view(np.int64))


def _shaped(out: Losses, shape: tuple[int, ...]) -> dict[str, Any]:
    """The figures by name; for scalars numpy scalars."""
    return {name: getattr(out, name).reshape(shape)[()] for name in FIGURES}


def _of(values: Any, at: Any) -> Any:
    """These rows of what differs by row; what is one number for all stays it."""
    return values[at] if isinstance(values, np.ndarray) and values.ndim else values


# ---- one block ----


def _fill(out: Losses, at: slice, block: _Rows, bound_c: float, water_pa: Floats) -> None:
    """Calculate one block and write it where it belongs; heat in percent of net.

    bound_c: no row hotter than this condenses; NaN where that can't be told. water_pa: room for the pressure of the
    water. In place where it can be: what is written again is still in the nearest cache.
    """
    fuel, flue, air = _per_mole_of(block.fuel), block.flue - HEATING_VALUE_TEMP_C, block.air - HEATING_VALUE_TEMP_C
    lean = only_where(block.ratio >= 1 - ROUNDING, block.ratio)
    excess = lean - 1
    excess *= fuel.air
    air_in = _enthalpy(DRY_AIR, air)
    leaving = _enthalpy(DRY_AIR, flue)
    leaving -= air_in
    leaving *= fuel.net
    leaving *= excess
    leaving += _enthalpy(fuel.products, flue)
    sensible, efficiency = out.sensible_loss_pct_net[at], out.efficiency_pct_net[at]
    np.subtract(leaving, _enthalpy(fuel.products, air), out=sensible)
    # Excess air brings what its share of `leaving` is counted from: only fuel and the air needed are left.
    air *= fuel.feed
    air_in *= fuel.air * fuel.net
    np.add(air, air_in, out=efficiency)
    efficiency -= leaving
    efficiency += 100
    steam: Any = 0.0
    if _counts(block.humidity):
        steam = lean * fuel.air * block.humidity * (AIR_MASS_G_MOL / WATER_MASS_G_MOL)
        lost = _enthalpy(STEAM, flue) - _enthalpy(STEAM, block.air - HEATING_VALUE_TEMP_C)
        lost *= steam * fuel.net
        sensible += lost
        efficiency -= lost
    dry = excess + fuel.dry
    if _counts(block.co):
        dry /= 1 - np.nan_to_num(block.co) * 0.5e-6
        unburnt = block.co * 1e-6 * dry * (CO_HEAT_KJ_MOL * fuel.net)
        out.unburnt_loss_pct_net[at] = unburnt
        efficiency -= unburnt
    out.latent_loss_pct_gross[at] = fuel.water * VAPORISATION_KJ_MOL * fuel.gross
    water = fuel.water + steam
    water_pa[at] = water / (dry + water) * block.pressure
    missing = np.isnan(lean)
    if np.count_nonzero(missing):
        out.unburnt_loss_pct_net[at][missing] = np.nan
    (cold,) = (~(block.flue >= bound_c) | missing).nonzero()
    found: Any = cold if cold.size < FEW else (slice(None) if cold.size == lean.size else cold,)
    for rows in found:
        efficiency[rows] += _condense(out, at, rows, fuel, block, dry, steam)
    np.multiply(efficiency, fuel.net_per_gross, out=out.efficiency_pct_gross[at])
    _flag(out, at, block)


def _counts(values: Floats) -> bool:
    """Whether it needs passes of its own: anything but one 0 for all rows."""
    return values.ndim > 0 or bool(values)


def _condense(out: Losses, at: slice, cold: Any, fuel: _PerMole, block: _Rows, dry_gas: Floats, steam: Any) -> Floats:
    """Write what condenses in the row or rows `cold` of a block; the heat that it gives back [% of net]."""
    flue, dry = _of(block.flue, cold), dry_gas[cold]
    water = _of(fuel.water, cold) + _of(steam, cold)
    liquid = np.maximum(water - dry * _vapour_share(flue, _of(block.pressure, cold)), 0.0)
    of_input = liquid * _of(fuel.gross, cold)
    out.latent_loss_pct_gross[at][cold] -= of_input * VAPORISATION_KJ_MOL
    out.condensate_fraction[at][cold] = liquid / (water + LEAST_WATER)
    out.condensate_kg_per_kwh_gross[at][cold] = of_input * (WATER_MASS_G_MOL / 1000 * KJ_PER_KWH / 100)
    out.flags[at][cold] += (liquid > 0) * CONDENSING
    heat = _enthalpy(STEAM_OVER_WATER, flue - HEATING_VALUE_TEMP_C) + VAPORISATION_KJ_MOL
    given_back: Floats = liquid * heat * _of(fuel.net, cold)
    return given_back


def _vapour_share(flue_c: Floats, pressure_pa: Floats) -> Floats:
    """Vapour that a mole of dry gas can carry [mol]; without bound from boiling upwards."""
    low, high = SATURATION_RANGE_C
    saturation = saturation_pressure_pa(np.minimum(np.maximum(flue_c, low), high))
    return saturation / np.maximum(pressure_pa - saturation, 0.0)


def _no_condensate_above_c(rows: _Rows) -> float:
    """No row hotter than this condenses [°C]; NaN where that can't be told."""
    fuels = (rows.fuel,) if isinstance(rows.fuel, Fuel) else rows.fuel.fuels
    humidity_ratio, pressure_pa = float(rows.humidity.max(initial=0.0)), float(rows.pressure.max(initial=0.0))
    return highest_dew_point_c(fuels, pressure_pa=pressure_pa, humidity_ratio=humidity_ratio) + BOUND_SLACK_K


def _flag(out: Losses, at: slice, block: _Rows) -> None:
    low, high = ENTHALPY_RANGE_C
    outside = (block.flue < low) | (block.flue > high) | (block.air < low) | (block.air > high)
    odd = (
        (HeatFlag.RICH, block.ratio < 1 - ROUNDING),
        (HeatFlag.FLUE_BELOW_AIR, block.flue < block.air),
        (HeatFlag.OUTSIDE_ENTHALPY_RANGE, outside),
    )
    for flag, held in odd:
        if np.count_nonzero(held):
            out.flags[at] += flag.value * held
