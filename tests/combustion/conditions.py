"""A reading carried from one intake air to another by the product's own law: what its correction is tested against."""

import numpy as np
from numpy.typing import ArrayLike

from fleet.combustion.ambient import REFERENCE_RELATIVE_HUMIDITY, Control, Quantity, _Intake, _law, _moved
from fleet.combustion.arrays import Floats, floats
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import STANDARD_PRESSURE_PA


def at_conditions(
    fuel: AnyFuel,
    control: Control,
    quantity: Quantity,
    value_pct: ArrayLike,
    *,
    air_temp_c: ArrayLike,
    to_air_temp_c: ArrayLike,
    pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    to_pressure_pa: ArrayLike = STANDARD_PRESSURE_PA,
    relative_humidity: ArrayLike = REFERENCE_RELATIVE_HUMIDITY,
    to_relative_humidity: ArrayLike = REFERENCE_RELATIVE_HUMIDITY,
) -> Floats:
    """A reading set with one intake air as it is with another, the burner untouched [% vol, dry].

    control: kind of air/fuel control. quantity, value_pct: "o2" or "co2" [% vol, dry] on the lean side.
    air_temp_c [°C], pressure_pa [Pa], relative_humidity (fraction) of the intake air when it was read, and
    those it goes to with `to_` before them; for an altitude take barometric_pressure_pa. NaN in, NaN out. The
    gas keeps its own temperature. A self-adapting burner regulates the air out: its value stays.
    Past the stoichiometric point the lean line is continued: an O2 below 0, or a CO2 above the fuel's
    maximum, says that air would run short.
    """
    law = _law(control, quantity)
    here = _Intake(floats(air_temp_c), floats(relative_humidity), floats(pressure_pa))
    there = _Intake(floats(to_air_temp_c), floats(to_relative_humidity), floats(to_pressure_pa))
    if law is None:
        return np.broadcast_arrays(floats(value_pct), *here, *there)[0][()]
    return _moved(fuel, law, quantity, floats(value_pct), here, there)[0]
