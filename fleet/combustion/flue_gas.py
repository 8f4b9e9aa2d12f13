"""Excess air and the composition of the dry and wet flue gas of complete combustion.

With A the air demand, D the dry products without excess air and r the excess air ratio, the dry flue gas is
D + (r - 1) A. Everything here follows from that line and is exact for the air of `gases.AIR`.

CO in the sample is fuel that didn't burn out. A mole of dry flue gas with y of CO would burn it with y/2 of its O2 to
y of CO2 and be 1 - y/2 of dry gas, so that complete combustion would have shown
O2' = (O2 - y/2) / (1 - y/2) and CO2' = (CO2 + y) / (1 - y/2), which lie on that line: an atom balance of C, H and O,
exact where CO alone is unburnt. An unknown CO counts as none.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import AIR, AIR_MASS_G_MOL, WATER_MASS_G_MOL

O2_AIR_PCT: Final = 100 * AIR["O2"]
CO2_AIR_PCT: Final = 100 * AIR["CO2"]
# The O2 in air that trade formulas and analysers use.
O2_AIR_TRADE_PCT: Final = 20.9
# Slack for a round trip that lands a rounding error beyond the end of the lean line.
ROUNDING: Final = 1e-12


@dataclass(frozen=True, slots=True)
class FlueGas:
    """Moles of each product per mole of fuel, shape of the inputs; percentages are derived.

    co2, so2, nitrogen, argon, oxygen: dry gas. water: made by combustion. air_water: brought in by humid air.
    """

    co2: Floats
    so2: Floats
    nitrogen: Floats
    argon: Floats
    oxygen: Floats
    water: Floats
    air_water: Floats

    @property
    def dry(self) -> Floats:
        """Dry flue gas [mol/mol fuel]."""
        return self.co2 + self.so2 + self.nitrogen + self.argon + self.oxygen

    @property
    def wet(self) -> Floats:
        """Wet flue gas with nothing condensed [mol/mol fuel]."""
        return self.dry + self.water + self.air_water

    @property
    def o2_pct(self) -> Floats:
        """O2 [% vol, dry]."""
        return 100 * self.oxygen / self.dry

    @property
    def co2_pct(self) -> Floats:
        """CO2 [% vol, dry]."""
        return 100 * self.co2 / self.dry

    @property
    def water_pct_wet(self) -> Floats:
        """Water vapour [% vol, wet], nothing condensed."""
        return 100 * (self.water + self.air_water) / self.wet


@QUIET
def flue_gas(fuel: AnyFuel, excess_air_ratio: ArrayLike, *, humidity_ratio: ArrayLike = 0.0) -> FlueGas:
    """Products of complete combustion [mol/mol fuel].

    excess_air_ratio: air supplied over air needed, at least 1; NaN below, where combustion can't be complete.
    humidity_ratio: water in the combustion air [kg/kg dry air].
    """
    ratio = _lean(excess_air_ratio)
    air = ratio * fuel.air_demand
    humidity = floats(humidity_ratio) * AIR_MASS_G_MOL / WATER_MASS_G_MOL
    ones = air / air
    return FlueGas(
        co2=fuel.carbon + air * AIR["CO2"],
        so2=fuel.sulfur * ones,
        nitrogen=fuel.nitrogen / 2 + air * AIR["N2"],
        argon=air * AIR["Ar"],
        oxygen=(ratio - 1) * fuel.oxygen_demand,
        water=fuel.water_products * ones,
        air_water=air * humidity,
    )


@QUIET
def water_pct_wet(fuel: AnyFuel, excess_air_ratio: ArrayLike, *, humidity_ratio: ArrayLike = 0.0) -> Floats:
    """Water vapour in the wet flue gas [% vol], nothing condensed; arguments as in flue_gas, of which this is
    one figure without the others.
    """
    air = _lean(excess_air_ratio) * fuel.air_demand
    water = fuel.water_products + air * (floats(humidity_ratio) * AIR_MASS_G_MOL / WATER_MASS_G_MOL)
    return 100 * water / (fuel.dry_products - fuel.air_demand + air + water)


@QUIET
def excess_air_ratio_from_o2(fuel: AnyFuel, o2_pct: ArrayLike, co_ppm: ArrayLike = 0.0) -> Floats:
    """Air supplied over air needed [-] from O2 [% vol] and CO [ppm] in the dry flue gas.

    Equation: 1 + (D/A) O2' / (O2air - O2'), exact, O2' with the CO burnt out: at 2 000 ppm the ratio is up to
    0.05 lower than from O2 alone. NaN where O2' is below 0, for then air was lacking, and from the O2 of the air
    (20.946 %) upwards.

    >>> from fleet.combustion.fuels import FUELS
    >>> round(float(excess_air_ratio_from_o2(FUELS["methane"], 6.0)), 4)
    1.3594
    """
    co = _co_pct(co_ppm)
    o2 = (floats(o2_pct) - co / 2) / _burnt_out_share(co)
    ratio = 1 + fuel.dry_products / fuel.air_demand * o2 / (O2_AIR_PCT - o2)
    return only_where((o2 >= 0) & (o2 < O2_AIR_PCT), ratio)


@QUIET
def excess_air_ratio_from_co2(fuel: AnyFuel, co2_pct: ArrayLike, co_ppm: ArrayLike = 0.0) -> Floats:
    """Air supplied over air needed [-] from CO2 [% vol] and CO [ppm] in the dry flue gas, the lean of two answers.

    Equation: 1 + (D/A) (CO2max - CO2') / (CO2' - CO2air), exact, CO2' with the CO burnt out; leaving out the CO2 of
    the air would be wrong by 0.001 at 1.25 and 0.007 at 2.0. NaN where CO2' is above the fuel's maximum, and where
    CO2 is not above that of the air (0.04 %).
    CO2 alone can't tell lean from rich: a rich flame shows the same CO2 with O2 near 0 and very high CO.

    >>> from fleet.combustion.fuels import FUELS
    >>> round(float(excess_air_ratio_from_co2(FUELS["methane"], 9.0)), 4)
    1.2741
    """
    read, co = floats(co2_pct), _co_pct(co_ppm)
    co2 = (read + co) / _burnt_out_share(co)
    ratio = 1 + fuel.dry_products / fuel.air_demand * (fuel.co2_max_pct - co2) / (co2 - CO2_AIR_PCT)
    return _lean(only_where(read > CO2_AIR_PCT, ratio))


def o2_pct_from_ratio(fuel: AnyFuel, excess_air_ratio: ArrayLike) -> Floats:
    """O2 in the dry flue gas [% vol]; NaN where the ratio is below 1."""
    return line_o2_pct(fuel, _lean(excess_air_ratio))


def co2_pct_from_ratio(fuel: AnyFuel, excess_air_ratio: ArrayLike) -> Floats:
    """CO2 in the dry flue gas [% vol]; NaN where the ratio is below 1."""
    return line_co2_pct(fuel, _lean(excess_air_ratio))


@QUIET
def co2_pct_from_o2(fuel: AnyFuel, o2_pct: ArrayLike, co_ppm: ArrayLike = 0.0) -> Floats:
    """CO2 [% vol, dry] that belongs to an O2 [% vol, dry] and a CO reading [ppm, dry].

    Equation: CO2' = CO2max (1 - s) + CO2air s, s = O2' / O2air: undiluted gas and air in their shares, exact, with the
    CO burnt out; CO2 itself is less by the carbon that is still CO, and at least 0. NaN for an O2 below 0 or not below
    that of the air; where air was lacking the line goes on, so that a finding on CO over CO2 stays.

    >>> from fleet.combustion.fuels import FUELS
    >>> round(float(co2_pct_from_o2(FUELS["methane"], 5.0)), 3)
    8.949
    """
    read, co = floats(o2_pct), _co_pct(co_ppm)
    o2 = (read - co / 2) / _burnt_out_share(co)
    co2 = fuel.co2_max_pct - (fuel.co2_max_pct - CO2_AIR_PCT) / O2_AIR_PCT * o2
    return only_where((read >= 0) & (read < O2_AIR_PCT), np.maximum(co2 * _burnt_out_share(co) - co, 0.0))


@QUIET
def o2_pct_from_co2(fuel: AnyFuel, co2_pct: ArrayLike, co_ppm: ArrayLike = 0.0) -> Floats:
    """O2 [% vol, dry] that belongs to a CO2 [% vol, dry] and a CO reading [ppm, dry] on the lean side, the inverse
    of co2_pct_from_o2; at least 0. NaN for a CO2 above the fuel's maximum or not above that of the air.
    """
    read, co = floats(co2_pct), _co_pct(co_ppm)
    co2 = (read + co) / _burnt_out_share(co)
    o2 = O2_AIR_PCT * (fuel.co2_max_pct - co2) / (fuel.co2_max_pct - CO2_AIR_PCT)
    within = (read > CO2_AIR_PCT) & (read <= fuel.co2_max_pct * (1 + ROUNDING))
    return only_where(within, np.maximum(o2 * _burnt_out_share(co) + co / 2, 0.0))


@QUIET
def dilution_factor(o2_pct: ArrayLike) -> Floats:
    """How many times its stoichiometric volume the dry flue gas is [-]: 20.9 / (20.9 - O2).

    Often taken for the excess air ratio, which it is not: methane at 6 % O2 is diluted 1.403 times at a
    ratio of 1.359. Multiplies a concentration to its air-free value. NaN from 20.9 % upwards.
    """
    o2 = floats(o2_pct)
    return only_where(o2 < O2_AIR_TRADE_PCT, O2_AIR_TRADE_PCT / (O2_AIR_TRADE_PCT - o2))


@QUIET
def apparent_co2_max_pct(
    o2_pct: ArrayLike, co2_pct: ArrayLike, *, o2_air_pct: float = O2_AIR_PCT, co2_air_pct: float = CO2_AIR_PCT
) -> Floats:
    """CO2 maximum of the fuel that an O2 and a measured CO2 reading point to [% vol, dry].

    Equation: (CO2 - s CO2air) / (1 - s), s = O2 / O2air, exact for complete combustion. With
    o2_air_pct=20.95 and co2_air_pct=0 it is the handbook equation (ASHRAE Fundamentals 2021 ch. 28, example
    2). Air that leaks into the sample moves both readings along the same line and leaves the answer as it
    was, so this can't show a leak. NaN from the O2 of the air upwards.

    >>> round(float(apparent_co2_max_pct(3.1, 10.0, o2_air_pct=20.95, co2_air_pct=0)), 2)
    11.74
    """
    air_share = floats(o2_pct) / o2_air_pct
    undiluted = (floats(co2_pct) - air_share * co2_air_pct) / (1 - air_share)
    return only_where(air_share < 1, undiluted)


@QUIET
def line_o2_pct(fuel: AnyFuel, excess_air_ratio: ArrayLike) -> Floats:
    """O2 [% vol, dry] on the lean line; below a ratio of 1 it goes on negative, the O2 lacking."""
    excess = (floats(excess_air_ratio) - 1) * fuel.air_demand
    return O2_AIR_PCT * excess / (fuel.dry_products + excess)


@QUIET
def line_co2_pct(fuel: AnyFuel, excess_air_ratio: ArrayLike) -> Floats:
    """CO2 [% vol, dry] on the lean line, continued below a ratio of 1 above the fuel's maximum."""
    excess = (floats(excess_air_ratio) - 1) * fuel.air_demand
    return (fuel.co2_max_pct * fuel.dry_products + CO2_AIR_PCT * excess) / (fuel.dry_products + excess)


def _co_pct(co_ppm: ArrayLike) -> Floats:
    """CO [% vol]; none where it isn't known."""
    return np.nan_to_num(floats(co_ppm), nan=0.0) / 1e4


def _burnt_out_share(co_pct: Floats) -> Floats:
    """Dry gas that is left of one mole when its CO [% vol] has burnt out [mol]."""
    return 1 - co_pct / 200


def _lean(excess_air_ratio: ArrayLike) -> Floats:
    ratio = floats(excess_air_ratio)
    return only_where(ratio >= 1 - ROUNDING, ratio)
