import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import FUELS, Fuel, air_free, co2_pct_from_o2, co_co2_ratio, mg_per_kwh, nox_from_no
from fleet.combustion.emissions import O2_TOO_DILUTE_PCT
from tests.combustion.cases import CASE_FUELS, co_ppm_values, fuels, property_settings

# Of hydrogen only the CO2 of the air is left.
carbon_fuels = fuels.filter(lambda fuel: fuel.carbon > 0)
o2_below_limit = st.floats(0.0, 17.999)


def test_air_free_ends_at_eighteen_percent_o2() -> None:
    assert np.isfinite(air_free(60.0, np.nextafter(O2_TOO_DILUTE_PCT, 0)))
    assert np.isnan(air_free(60.0, [18.0, 18.5, 20.9, 25.0])).all()
    assert np.isnan(air_free([np.nan, 60.0], [5.0, np.nan])).all()


@property_settings
@given(co_ppm_values, o2_below_limit, o2_below_limit)
def test_air_free_co_never_falls_as_o2_rises(co_ppm: float, one_o2: float, other_o2: float) -> None:
    low, high = sorted((one_o2, other_o2))
    assert air_free(co_ppm, high) >= air_free(co_ppm, low) >= co_ppm


def test_ratio_is_blind_to_leaked_air_but_needs_co2() -> None:
    assert co_co2_ratio(90.0, 9.0) == pytest.approx(co_co2_ratio(45.0, 4.5)) == pytest.approx(0.001)
    assert co_co2_ratio(9.0, 0.09) == pytest.approx(0.01)
    assert np.isnan(co_co2_ratio(90.0, [0.0, -0.1, np.nan])).all()


def test_ratio_and_air_free_limits_correspond() -> None:
    """Ratio 0.004 is 470 ppm air-free on methane and 550 on propane (own computation, rounded)."""
    for name, expected in (("methane", 470.0), ("propane", 550.0)):
        assert 0.004 * FUELS[name].co2_max_pct * 1e4 == pytest.approx(expected, abs=2.0)


def test_a_class_limit_in_mass_and_in_ppm() -> None:
    """56 mg/kWh gross of NOx on methane is 35.2 ppm air-free (own computation, Cantera)."""
    assert mg_per_kwh(FUELS["methane"], 35.2, "NO2", "gross") == pytest.approx(56.0, abs=0.1)


@property_settings
@given(fuels, st.floats(0.1, 1000.0))
def test_gross_mass_per_heat_is_the_smaller(fuel: Fuel, ppm: float) -> None:
    net, gross = (mg_per_kwh(fuel, ppm, "CO", basis) for basis in ("net", "gross"))
    assert gross == pytest.approx(net * fuel.net_per_gross, rel=1e-12)
    assert gross < net


def test_mass_per_heat_refuses_an_unknown_species_or_basis() -> None:
    with pytest.raises(ValueError, match="species"):
        mg_per_kwh(FUELS["methane"], 1.0, "SO2", "net")  # type: ignore[arg-type]  # the misuse under test
    with pytest.raises(ValueError, match="basis"):
        mg_per_kwh(FUELS["methane"], 1.0, "CO", "dry")  # type: ignore[arg-type]  # the misuse under test


# 40 CFR part 75 appendix F: dry flue gas and CO2 [scf per million Btu gross] of natural gas, propane and butane.
PUBLISHED_F = {"US_NG": (8710, 1040), "G31": (8710, 1190), "G30": (8710, 1250)}
# One mole at 68 °F and 1 atm in cubic feet, and a million Btu in kJ.
SCF_PER_MOL, KJ_PER_MMBTU = 24.0552 * 0.0353147, 1_055_056.0


@pytest.mark.parametrize("name", PUBLISHED_F)
def test_f_factors_of_the_federal_appendix(name: str) -> None:
    """Computed from composition: Fd 8635, 8833, 8887 and Fc 1033, 1215, 1250; the published figures are
    rounded averages of many gases, hence 2.5 %.
    """
    fuel, (dry, co2) = CASE_FUELS[name], PUBLISHED_F[name]
    scf_per_mmbtu = SCF_PER_MOL * KJ_PER_MMBTU / fuel.hhv_kj_mol
    assert fuel.dry_products * scf_per_mmbtu == pytest.approx(dry, rel=0.025)
    assert fuel.co2_max_pct / 100 * fuel.dry_products * scf_per_mmbtu == pytest.approx(co2, rel=0.025)


@pytest.mark.parametrize(("name", "published"), [("US_NG", 1.749), ("G31", 1.510), ("G30", 1.479)])
@pytest.mark.parametrize("o2_pct", [0.0, 3.0, 8.0])
def test_the_factor_that_checks_an_orsat_pair(name: str, published: float, o2_pct: float) -> None:
    """Fo = (20.9 - O2) / CO2, EPA method 3B, values from memory: the same at any dilution, to 1 %."""
    assert (20.9 - o2_pct) / co2_pct_from_o2(CASE_FUELS[name], o2_pct) == pytest.approx(published, rel=0.01)


def test_a_limit_per_heat_by_f_factor_and_by_mass() -> None:
    """NOx of 30 ppm at 3 % O2 on natural gas is 0.036 lb per million Btu: 1.194e-7 lb/scf ppm x Fd 8710 x
    20.9 / 17.9 (EPA method 19, constants from memory).
    """
    gas = CASE_FUELS["US_NG"]
    by_factor_lb = 1.194e-7 * 30 * 8710 * 20.9 / (20.9 - 3.0)
    by_mass_mg_kwh = mg_per_kwh(gas, float(air_free(30.0, 3.0)), "NO2", "gross")
    lb_per_mmbtu = by_mass_mg_kwh / 453_592.37 * KJ_PER_MMBTU / 3600
    assert lb_per_mmbtu == pytest.approx(by_factor_lb, rel=0.015)
    assert lb_per_mmbtu == pytest.approx(0.036, abs=1e-3)


def test_nox_from_no_is_an_estimate_with_a_stated_share() -> None:
    """95 ppm of NO with the customary 5 % of NO2 is 100 ppm of NOx, by definition."""
    assert nox_from_no(95.0) == pytest.approx(100.0, rel=1e-12)
    assert nox_from_no([50.0, 0.0], no2_share=0.5).tolist() == [100.0, 0.0]
    assert nox_from_no(50.0, no2_share=0.0) == 50.0
    assert np.isnan(nox_from_no([np.nan, -1.0])).all()


@pytest.mark.parametrize("share", [-0.1, -1e-9, 1.0, np.nan])
def test_nox_from_no_refuses_a_share_that_is_none(share: float) -> None:
    with pytest.raises(ValueError, match="no2_share"):
        nox_from_no(50.0, no2_share=share)
