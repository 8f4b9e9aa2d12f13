"""CO and nitrogen oxides brought to a common dilution or to the heat released."""

from typing import Final, Literal

from numpy.typing import ArrayLike

from fleet.combustion.arrays import QUIET, Floats, floats, only_where
from fleet.combustion.flue_gas import dilution_factor
from fleet.combustion.fuel_rows import AnyFuel
from fleet.combustion.gases import CO_MASS_G_MOL, NO2_MASS_G_MOL
from fleet.combustion.heat import KJ_PER_KWH

# From here on the sample is mostly air: a 0.3 % error of O2 moves an air-free figure by more than a tenth.
O2_TOO_DILUTE_PCT: Final = 18.0

_MASS_G_MOL: Final = {"CO": CO_MASS_G_MOL, "NO2": NO2_MASS_G_MOL}


@QUIET
def air_free(co_ppm: ArrayLike, o2_pct: ArrayLike) -> Floats:
    """Concentration with all excess air removed [ppm, dry], from the measured one [ppm, dry] and O2 [% vol, dry].

    Equation: CO 20.9 / (20.9 - O2), usual trade definition. NaN where O2 is 18 % or more: such a sample
    needs a proper sampling point. Serves NO and NOx as well.

    >>> round(float(air_free(100.0, 5.0)), 2)
    131.45
    """
    o2 = floats(o2_pct)
    return only_where(o2 < O2_TOO_DILUTE_PCT, floats(co_ppm) * dilution_factor(o2))


# Where the undiluted flue gas of a fuel holds less CO2 [% vol, dry], as of hydrogen, CO over CO2 tells nothing of the
# flame: the CO2 is that of the air. Our own bound; no published figure.
LEAST_CO2_MAX_PCT: Final = 1.0


@QUIET
def co_co2_ratio(co_ppm: ArrayLike, co2_pct: ArrayLike) -> Floats:
    """CO over CO2 as fractions of the same dry gas [-]; air leaking into the sample leaves it as it was.

    Equation: CO ppm / (CO2 % x 10 000), by definition. NaN where CO2 is not above 0.

    >>> round(float(co_co2_ratio(90.0, 9.0)), 6)
    0.001
    """
    co2 = floats(co2_pct)
    return only_where(co2 > 0, floats(co_ppm) / (co2 * 1e4))


@QUIET
def nox_from_no(no_ppm: ArrayLike, *, no2_share: float = 0.05) -> Floats:
    """Nitrogen oxides [ppm, dry] estimated from NO alone [ppm, dry], where the analyser reads no NO2.

    no2_share: NO2 in the nitrogen oxides [-]; 0.05 is common practice, no source, and a cold lean flame can
    have several times that (from memory). An estimate: say so beside it.
    Raises ValueError for a share outside 0 to below 1. Equation: NO / (1 - share). NaN below 0 ppm.

    >>> round(float(nox_from_no(38.0)), 6)
    40.0
    """
    if not 0 <= no2_share < 1:
        raise ValueError(f"no2_share: {no2_share} is not a share of 0 to below 1")
    no = floats(no_ppm)
    return only_where(no >= 0, no / (1 - no2_share))


@QUIET
def mg_per_kwh(
    fuel: AnyFuel, ppm_air_free: ArrayLike, species: Literal["CO", "NO2"], basis: Literal["net", "gross"]
) -> Floats:
    """Mass per heat input [mg/kWh] of an air-free dry concentration [ppm]; NOx is counted as NO2.

    basis: heating value that the kWh refers to. Raises ValueError for another species or basis.
    Equation: ppm 1e-6 D M / heating value, D the dry flue gas without excess air.

    >>> from fleet.combustion.fuels import FUELS
    >>> round(float(mg_per_kwh(FUELS["methane"], 1.0, "CO", "net")), 3)
    1.074
    """
    if species not in _MASS_G_MOL:
        raise ValueError(f"species: {species!r} is not one of {', '.join(_MASS_G_MOL)}")
    heating_values_kj_mol = {"net": fuel.lhv_kj_mol, "gross": fuel.hhv_kj_mol}
    if basis not in heating_values_kj_mol:
        raise ValueError(f"basis: {basis!r} is not one of net, gross")
    mg_per_ppm = 1e-6 * fuel.dry_products * _MASS_G_MOL[species] * 1000
    return floats(ppm_air_free) * mg_per_ppm * KJ_PER_KWH / heating_values_kj_mol[basis]
