"""What was read becomes what it means: every derived figure of a reading from one function.

| figure | unit, basis | from |
|---|---|---|
| o2_pct, co2_pct | % vol, dry | as read; the missing one along the fuel's O2-CO2 line, less the carbon in CO |
| excess_air_ratio | air supplied over air needed | exact with CO burnt out, from O2; from CO2 where no O2 was read |
| dilution_factor | dry flue gas over its undiluted volume | 20.9 / (20.9 - O2), usual trade definition |
| co_ppm_air_free, nox_ppm_air_free | ppm, dry, undiluted | concentration x dilution factor; none from 18 % O2 upwards |
| co_co2_ratio | fraction over fraction, dry | CO / (CO2 x 10 000), by definition; of hydrogen none |
| co_mg_per_kwh_net, co_mg_per_kwh_gross | mg per kWh of net or gross heat input | air-free CO |
| nox_mg_per_kwh_net, nox_mg_per_kwh_gross | the same, counted as NO2 | air-free NOx |
| sensible_loss_pct_net | % of the net heating value | enthalpy above air temperature, water as vapour |
| latent_loss_pct_gross | % of the gross heating value | vaporisation heat of the vapour that leaves |
| unburnt_loss_pct_net | % of the net heating value | heat of the CO; none where no CO was read |
| flue_loss_pct | % of the net heating value | a regulation's coefficients; none without them |
| efficiency_pct_net, efficiency_pct_gross | % of the net or gross heating value | first law; CO not read is none |
| condensate_fraction | share of all water, 0 to 1 | gas leaving saturated over pure water |
| condensate_kg_per_kwh_gross | kg per kWh of gross heat input | the same |
| dew_point_c | °C | water's partial pressure, IAPWS-IF97; needs no flue temperature |
| input_kw_gross, input_kw_net | kW | as read, times net over gross heating value |

The functions behind each line (`flue_gas`, `emissions`, `heat`, `regulation`, `humidity`) carry equations and sources.
"""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import Floats, floats
from fleet.combustion.emissions import LEAST_CO2_MAX_PCT, air_free, co_co2_ratio, mg_per_kwh
from fleet.combustion.flue_gas import (
    co2_pct_from_o2,
    dilution_factor,
    excess_air_ratio_from_co2,
    excess_air_ratio_from_o2,
    o2_pct_from_co2,
)
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import STANDARD_PRESSURE_PA
from fleet.combustion.heat import heat_balance
from fleet.combustion.regulation import LossCoefficients, regulation_loss

# What a reading may hold that figures are derived from, in the units of the names; concentrations of dry gas.
READ_COLUMNS: Final = (
    "o2_pct",
    "co2_pct",
    "co_ppm",
    "no_ppm",
    "nox_ppm",
    "flue_temp_c",
    "air_temp_c",
    "input_kw_gross",
)


def read_columns(read: Mapping[str, ArrayLike]) -> Floats:
    """One row for each of READ_COLUMNS, in that order and of one shape, NaN where not read.

    Raises ValueError for a name that is none of READ_COLUMNS.
    """
    if unknown := sorted(set(read) - set(READ_COLUMNS)):
        raise ValueError(f"read: {', '.join(unknown)} is not known; known are {', '.join(READ_COLUMNS)}")
    values = [floats(read.get(name, np.nan)) for name in READ_COLUMNS]
    columns = np.empty((len(values), *np.broadcast(*values).shape))
    for n, each in enumerate(values):
        columns[n] = each
    return columns


def _air_of(fuel: AnyFuel, o2_read: Floats, co2_read: Floats, co_ppm: Floats) -> tuple[Floats, Floats, Floats]:
    """O2 and CO2 [% vol, dry], the one that was not read from the other, and the excess air ratio; O2 goes first."""
    no_o2, no_co2 = np.isnan(o2_read), np.isnan(co2_read)
    o2_pct, co2_pct, ratio = o2_read, co2_read, excess_air_ratio_from_o2(fuel, o2_read, co_ppm)
    if no_o2.any():
        ratio = np.where(no_o2, excess_air_ratio_from_co2(fuel, co2_read, co_ppm), ratio)
        o2_pct = np.where(no_o2, o2_pct_from_co2(fuel, co2_read, co_ppm), o2_read)
    if no_co2.any():
        co2_pct = np.where(no_co2, co2_pct_from_o2(fuel, o2_read, co_ppm), co2_read)
    return o2_pct, co2_pct, ratio


def derived_figures(
    fuel: AnyFuel,
    read: Mapping[str, ArrayLike],
    *,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    humidity_ratio: ArrayLike = 0.0,
    loss: LossCoefficients | None = None,
) -> dict[str, Floats]:
    """Every figure of the table above, shape of the readings; NaN where what it rests on was not read.

    read: READ_COLUMNS by name, scalars or arrays, all optional, NaN where not read. Raises ValueError for any
    other name.
    pressure_pa: of the flue gas. humidity_ratio: of the combustion air [kg/kg dry air]. Both scalars or of
    the readings' shape. loss: the regulation whose flue loss is wanted.
    NOx comes from nox_ppm alone: what NO makes of it is an assumption that belongs to whoever reads NO.

    >>> from fleet.combustion.fuels import FUELS
    >>> read = {"o2_pct": 5.0, "co_ppm": 100.0, "flue_temp_c": 160.0, "air_temp_c": 20.0}
    >>> figures = derived_figures(FUELS["methane"], read)
    >>> [round(float(figures[name]), 2) for name in ("co2_pct", "co_ppm_air_free", "efficiency_pct_net")]
    [8.94, 131.45, 92.88]
    """
    o2_read, co2_read, co_ppm, _, nox_ppm, flue_c, air_c, input_kw = read_columns(read)
    no_co = np.isnan(co_ppm)
    o2_pct, co2_pct, ratio = _air_of(fuel, o2_read, co2_read, co_ppm)
    co_ppm_air_free, nox_air_free = air_free(np.array([co_ppm, nox_ppm]), o2_pct)
    co_mg_net, nox_mg_net = mg_per_kwh(fuel, co_ppm_air_free, "CO", "net"), mg_per_kwh(fuel, nox_air_free, "NO2", "net")
    balance = heat_balance(
        fuel,
        ratio,
        flue_c,
        air_c,
        pressure_pa=pressure_pa,
        humidity_ratio=humidity_ratio,
        co_ppm=np.where(no_co, 0.0, co_ppm),
    )
    flue_loss = np.full(ratio.shape, np.nan) if loss is None else regulation_loss(loss, o2_pct, flue_c, air_c)
    figures = {
        "o2_pct": o2_pct,
        "co2_pct": co2_pct,
        "excess_air_ratio": ratio,
        "dilution_factor": dilution_factor(o2_pct),
        "co_ppm_air_free": co_ppm_air_free,
        "co_co2_ratio": co_co2_ratio(co_ppm, np.where(fuel.co2_max_pct >= LEAST_CO2_MAX_PCT, co2_pct, np.nan)),
        "nox_ppm_air_free": nox_air_free,
        "co_mg_per_kwh_net": co_mg_net,
        "co_mg_per_kwh_gross": co_mg_net * fuel.net_per_gross,
        "nox_mg_per_kwh_net": nox_mg_net,
        "nox_mg_per_kwh_gross": nox_mg_net * fuel.net_per_gross,
        "sensible_loss_pct_net": balance.sensible_loss_pct_net,
        "latent_loss_pct_gross": balance.latent_loss_pct_gross,
        "unburnt_loss_pct_net": np.where(no_co, np.nan, balance.unburnt_loss_pct_net),
        "flue_loss_pct": flue_loss,
        "efficiency_pct_net": balance.efficiency_pct_net,
        "efficiency_pct_gross": balance.efficiency_pct_gross,
        "condensate_fraction": balance.condensate_fraction,
        "condensate_kg_per_kwh_gross": balance.condensate_kg_per_kwh_gross,
        "dew_point_c": balance.dew_point_c,
        "input_kw_gross": input_kw,
        "input_kw_net": input_kw * fuel.net_per_gross,
    }
    return {name: values[()] for name, values in figures.items()}
