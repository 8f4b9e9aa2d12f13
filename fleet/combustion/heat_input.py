"""Heat input of a gas appliance from its meter."""

from typing import Final

from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.gases import STANDARD_PRESSURE_PA, ZERO_C_K

KJ_PER_MJ: Final = 1000.0


@QUIET
def heat_input_kw(
    volume_m3: ArrayLike,
    seconds: ArrayLike,
    gas_temp_c: ArrayLike,
    gauge_pressure_pa: ArrayLike,
    barometric_pressure_pa: ArrayLike,
    heating_value_mj_m3: ArrayLike,
    *,
    reference_temp_c: float = 15.0,
    reference_pressure_pa: float = STANDARD_PRESSURE_PA,
) -> Floats:
    """Heat input [kW], on the gross or net basis of the heating value given.

    volume_m3: gas through the meter at meter conditions in so many seconds. gas_temp_c [°C] and
    gauge_pressure_pa [Pa] at the meter, barometric_pressure_pa [Pa] at the site.
    heating_value_mj_m3: per cubic metre of dry gas at the reference temperature and pressure.
    NaN where seconds is not above 0, the volume is negative, or the absolute pressure not above 0.
    A correcting meter shows volumes at its reference already: give those conditions as the gas's.

    Equation: V / s x HV x (Tref / T) x (P / Pref).    Source: ASHRAE Fundamentals 2021 ch. 28, with its
    example of 2.800 m³/h at 24 °C and 86.016 kPa absolute, 37.5 MJ/m³ at 60 °F: 24.04 to 24.06 kW by
    rounding of the reference.

    >>> round(float(heat_input_kw(2.8, 3600.0, 24.0, 0.0, 86016.0, 37.5, reference_temp_c=15.56)), 2)
    24.06
    """
    volume, duration = floats(volume_m3), floats(seconds)
    pressure = floats(gauge_pressure_pa) + floats(barometric_pressure_pa)
    temp_factor = (reference_temp_c + ZERO_C_K) / (floats(gas_temp_c) + ZERO_C_K)
    volume_at_reference = volume * temp_factor * pressure / reference_pressure_pa
    input_kw = volume_at_reference * floats(heating_value_mj_m3) * KJ_PER_MJ / duration
    return only_where((duration > 0) & (volume >= 0) & (pressure > 0), input_kw)
