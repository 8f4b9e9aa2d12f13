"""Uncertainty carried to every figure: against simulation, against handbook sensitivities, and at the edges."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from fleet.combustion import FUELS, LOSS_COEFFICIENTS, Fuel
from fleet.combustion.figures import READ_COLUMNS, derived_figures
from fleet.combustion.fuel_rows import FuelRows
from fleet.combustion.uncertainty import (
    DIRECTIONS,
    LEAST_STEPS,
    LEAST_VALUES,
    O2_ENDS_PCT,
    STATED_NAMES,
    WORDS,
    Derived,
    figures_with_uncertainty,
    standard_uncertainties,
)
from tests.combustion.cases import CASE_FUELS, fuels, property_settings

GAS = FUELS["natural_gas"]
US_GAS = CASE_FUELS["US_NG"]
GERMAN_GAS = LOSS_COEFFICIENTS["de_2010_natural_gas"]
# Usual figures of an analyser for statutory measurements (EN 50379-2, from memory), absolute or in % of the reading.
ACCURACY = {
    "o2": {"absolute": "0.3", "relative_pct": "0"},
    "co2": {"absolute": "0.3", "relative_pct": "0"},
    "co": {"absolute": "20", "relative_pct": "5"},
    "nox": {"absolute": "5", "relative_pct": "5"},
    "flue_temp": {"absolute": "2", "relative_pct": "0.5"},
    "air_temp": {"absolute": "1", "relative_pct": "0"},
}
BASE = {"co_ppm": 60.0, "nox_ppm": 30.0, "air_temp_c": 20.0}
DRY: dict[str, Any] = BASE | {"o2_pct": 5.0, "flue_temp_c": 160.0}
EXACT = dict.fromkeys(("o2_pct", "co2_pct", "co_ppm", "no_ppm", "nox_ppm", "flue_temp_c", "air_temp_c"), 0.0)


def drawn(read: dict[str, float], u: dict[str, float], *, calculated: bool) -> dict[str, NDArray[np.float64]]:
    """Each figure of 200 000 readings scattered around this one; a calculated CO2 moves along its fuel's line."""
    rng = np.random.default_rng(20_260)
    draws = {name: value + u[name] * rng.standard_normal(200_000) for name, value in read.items()}
    if calculated and "o2_pct" in read:
        slope = (0.04 - GAS.co2_max_pct) / 20.946
        draws["co2_pct"] = read["co2_pct"] + slope * (draws["o2_pct"] - read["o2_pct"])
    return derived_figures(GAS, draws, loss=GERMAN_GAS)


# ---- what the analyser states ----


def test_the_larger_of_absolute_and_relative_counts_halved() -> None:
    u = standard_uncertainties(ACCURACY, {"co_ppm": [100.0, 400.0, 1000.0], "flue_temp_c": [160.0, 400.0, 500.0]})
    assert u["co_ppm"].tolist() == [10.0, 10.0, 25.0]
    assert u["flue_temp_c"].tolist() == [1.0, 1.0, 1.25]


def test_what_is_not_stated_is_not_nought() -> None:
    stated = {"o2": {"absolute": "0.3"}, "co": {"absolute": "0", "relative_pct": "0"}, "draught": {"absolute": "2"}}
    u = standard_uncertainties(stated, {"o2_pct": 5.0, "co_ppm": 50.0, "nox_ppm": 30.0})
    assert u["o2_pct"] == 0.15
    assert np.isnan([u[name] for name in ("co_ppm", "nox_ppm", "co2_pct", "input_kw_gross")]).all()
    assert "draught" not in u and "draught_pa" not in u


def test_a_share_of_nothing_read_is_not_known_but_a_plain_figure_holds() -> None:
    u = standard_uncertainties(ACCURACY, {})
    assert u["o2_pct"] == 0.15
    assert np.isnan(u["co_ppm"])


def test_the_certificates_own_uncertainty_comes_on_top_in_squares() -> None:
    certificate = {"o2": {"absolute": "0.4"}, "air_temp": {"absolute": "0.5"}, "co2": {}}
    u = standard_uncertainties({"o2": {"absolute": "0.3"}}, {"o2_pct": 5.0}, calibration=certificate)
    assert u["o2_pct"] == pytest.approx(0.25)
    assert np.isnan(u["air_temp_c"])


def test_columns_may_go_by_their_own_names() -> None:
    assert standard_uncertainties({"o2_pct": {"absolute": 0.3}}, {"o2_pct": 5.0})["o2_pct"] == 0.15


@pytest.mark.parametrize("figure", ["-1", "some", "inf", "nan", [1]])
def test_an_accuracy_that_is_no_figure_is_refused(figure: object) -> None:
    with pytest.raises(ValueError, match=r"^accuracy: absolute of o2 is"):
        standard_uncertainties({"o2": {"absolute": figure}}, {"o2_pct": 5.0})
    with pytest.raises(ValueError, match=r"^calibration: relative_pct of co is"):
        standard_uncertainties(ACCURACY, {}, calibration={"co": {"absolute": 1, "relative_pct": figure}})


# ---- against simulation ----


@pytest.mark.parametrize(
    ("read", "u_o2", "basis"),
    [
        pytest.param(DRY, 0.15, "measured", id="dry, O2 only"),
        pytest.param(DRY | {"co2_pct": 9.1}, 0.15, "calculated", id="dry, calculated CO2"),
        pytest.param(DRY | {"co2_pct": 9.1}, 0.15, "measured", id="dry, measured CO2"),
        pytest.param(BASE | {"o2_pct": 4.8, "co2_pct": 9.2, "flue_temp_c": 45.0}, 0.15, "measured", id="condensing"),
        pytest.param(BASE | {"co2_pct": 9.2, "flue_temp_c": 40.0}, 0.15, "measured", id="condensing, CO2 only"),
        pytest.param(DRY | {"o2_pct": 0.3}, 0.05, "measured", id="nearly no O2"),
        pytest.param(DRY | {"o2_pct": 17.5, "co2_pct": 1.9}, 0.15, "calculated", id="mostly air, calculated CO2"),
        pytest.param(DRY | {"o2_pct": 17.5, "co2_pct": 1.9}, 0.15, "measured", id="mostly air, measured CO2"),
    ],
)
def test_first_order_agrees_with_simulation(read: dict[str, float], u_o2: float, basis: str) -> None:
    u = {"o2_pct": u_o2, "co2_pct": 0.15, "co_ppm": 10.0, "nox_ppm": 2.5, "flue_temp_c": 1.0, "air_temp_c": 0.5}
    found = figures_with_uncertainty(GAS, read, u, co2_basis=basis, loss=GERMAN_GAS)  # type: ignore[arg-type]  # words and figures of the cases
    scattered = drawn(read, u, calculated=basis == "calculated")
    for name, figure in found.figures.items():
        if np.isfinite(figure):
            assert found.u[name] == pytest.approx(np.nanstd(scattered[name]), rel=0.02, abs=1e-9), name


def test_the_dew_point_bends_what_first_order_sees() -> None:
    """At it the simulation scatters an eighth more; one uncertainty above it no condensate is seen at all."""
    u = {"o2_pct": 0.15, "co2_pct": 0.15, "co_ppm": 10.0, "nox_ppm": 2.5, "flue_temp_c": 1.0, "air_temp_c": 0.5}
    dew_c = float(derived_figures(GAS, DRY)["dew_point_c"])
    shares = []
    for above_k in (-1.0, 0.0, 1.2):
        read = DRY | {"flue_temp_c": dew_c + above_k}
        found = figures_with_uncertainty(GAS, read, u)
        simulated = np.std(drawn(read, u, calculated=False)["condensate_fraction"])
        shares.append(float(found.u["condensate_fraction"] / simulated))
    assert shares == pytest.approx([1.18, 0.88, 0.0], abs=0.02)


def test_o2_cant_fall_below_nought_so_first_order_is_large_there() -> None:
    u = {"o2_pct": 0.15, "co_ppm": 10.0, "nox_ppm": 2.5, "flue_temp_c": 1.0, "air_temp_c": 0.5}
    read = DRY | {"o2_pct": 0.3}
    simulated = np.nanstd(drawn(read, u, calculated=False)["excess_air_ratio"])
    found = figures_with_uncertainty(GAS, read, u)
    assert found.u["excess_air_ratio"] / simulated == pytest.approx(1.06, abs=0.01)


# ---- against known sensitivities ----


def moved_by(name: str, figure: str) -> float:
    """What the figure of a typical gas at 5 % O2 and 160 °C moves per unit of one reading, by size."""
    found = figures_with_uncertainty(US_GAS, DRY, EXACT | {name: 0.01})
    return float(found.u[figure]) / 0.01


def test_loss_moves_with_o2_and_temperatures_as_known() -> None:
    """0.36 points per % O2, 0.051 per K of the flue gas, 0.050 per K of the air (computed with Cantera 3.2)."""
    assert moved_by("o2_pct", "sensible_loss_pct_net") == pytest.approx(0.36, abs=0.005)
    assert moved_by("flue_temp_c", "sensible_loss_pct_net") == pytest.approx(0.051, abs=0.001)
    assert moved_by("air_temp_c", "sensible_loss_pct_net") == pytest.approx(0.050, abs=0.001)


def test_a_usual_analyser_gives_the_loss_to_a_sixth_of_a_point() -> None:
    """O2 to 0.3 %, flue gas to 2 K, air to 1 K: 0.16 points, expanded (computed with Cantera 3.2)."""
    found = figures_with_uncertainty(US_GAS, DRY, standard_uncertainties(ACCURACY, DRY))
    assert 2 * found.u["sensible_loss_pct_net"] == pytest.approx(0.16, abs=0.005)


def test_a_calculated_co2_is_as_good_as_the_o2_it_came_from() -> None:
    """0.56 u(O2) for natural gas (own computation), whatever is stated for CO2, with the O2 on record or not."""
    u = EXACT | {"o2_pct": 0.15, "co2_pct": 5.0}
    for read in (DRY, DRY | {"co2_pct": 9.1}, BASE | {"co2_pct": 9.1}):
        found = figures_with_uncertainty(US_GAS, read, u, co2_basis="calculated")
        assert found.u["co2_pct"] == pytest.approx(0.56 * 0.15, rel=0.02)


def test_a_calculated_co2_and_its_o2_move_together() -> None:
    """CO air-free and the ratio are then one figure in two units: both are as uncertain, relatively."""
    read = DRY | {"co2_pct": 9.1, "co_ppm": 500.0}
    u = EXACT | {"o2_pct": 0.15, "co2_pct": 0.15}
    found = figures_with_uncertainty(GAS, read, u, co2_basis="calculated")
    relative = {name: float(found.u[name] / found.figures[name]) for name in ("co_ppm_air_free", "co_co2_ratio")}
    assert relative["co_ppm_air_free"] == pytest.approx(relative["co_co2_ratio"], rel=0.03)


# ---- what is missing, and the edges ----


def test_a_figure_is_as_unknown_as_what_it_rests_on() -> None:
    u = standard_uncertainties({"o2": {"absolute": "0.3"}}, DRY)
    found = figures_with_uncertainty(GAS, DRY, u)
    known = {name for name, value in found.u.items() if np.isfinite(value)}
    assert known == {
        *("o2_pct", "co2_pct", "excess_air_ratio", "dilution_factor", "dew_point_c"),
        *("condensate_fraction", "condensate_kg_per_kwh_gross", "latent_loss_pct_gross"),
    }


def test_what_was_not_read_adds_nothing() -> None:
    u = standard_uncertainties({name: ACCURACY[name] for name in ("o2", "flue_temp", "air_temp")}, DRY)
    read = {name: DRY[name] for name in ("o2_pct", "flue_temp_c", "air_temp_c")}
    assert np.isfinite(figures_with_uncertainty(GAS, read, u).u["efficiency_pct_net"])
    assert np.isnan(figures_with_uncertainty(GAS, DRY, u).u["efficiency_pct_net"])


def test_exact_readings_give_exact_figures() -> None:
    found = figures_with_uncertainty(GAS, DRY, EXACT)
    assert all(found.u[name] == 0 for name, figure in found.figures.items() if np.isfinite(figure))


near_edges = st.fixed_dictionaries(
    {
        "o2_pct": st.one_of(
            st.just(np.nan),
            st.floats(0.0, 20.9),
            st.sampled_from([0.0, 1e-9, 17.999999, np.nextafter(18.0, 0), 18.0, np.nextafter(20.9, 0), 20.945]),
        ),
        "co2_pct": st.one_of(st.just(np.nan), st.floats(0.05, 12.0), st.sampled_from([0.041, GAS.co2_max_pct])),
        "co_ppm": st.one_of(st.just(np.nan), st.floats(0.0, 5000.0), st.just(0.0)),
        "nox_ppm": st.floats(0.0, 100.0),
        "flue_temp_c": st.floats(20.0, 300.0),
        "air_temp_c": st.floats(-15.0, 45.0),
    }
)
stated = st.fixed_dictionaries({name: st.floats(0.0, 2.0) for name in EXACT})
bases = st.sampled_from(["measured", "calculated", "absent"])


@property_settings
@given(near_edges, stated, bases)
def test_no_step_falls_off_an_edge(read: dict[str, float], u: dict[str, float], basis: str) -> None:
    found = figures_with_uncertainty(GAS, read, u, co2_basis=basis, loss=GERMAN_GAS)  # type: ignore[arg-type]  # words and figures of the cases
    for name, figure in found.figures.items():
        assert np.isfinite(figure) == np.isfinite(found.u[name]), name
        assert not found.u[name] < 0


@property_settings
@given(fuels, st.lists(near_edges, min_size=1, max_size=4), stated)
def test_many_readings_give_what_each_gives_alone(
    fuel: Fuel, several: list[dict[str, float]], u: dict[str, float]
) -> None:
    read = {name: [each[name] for each in several] for name in several[0]}
    together = figures_with_uncertainty(fuel, read, u, co2_basis=["calculated"] * len(several))
    for n, each in enumerate(several):
        alone = figures_with_uncertainty(fuel, each, u, co2_basis="calculated")
        for name, value in alone.u.items():
            assert together.u[name][n] == pytest.approx(float(value), rel=1e-6, abs=1e-9, nan_ok=True), name


def test_each_row_may_burn_a_fuel_of_its_own() -> None:
    two = (GAS, FUELS["propane"])
    read = DRY | {"co2_pct": np.array([9.1, 10.5, 9.2]), "flue_temp_c": np.array([160.0, 45.0, 45.0])}
    u = EXACT | {"o2_pct": 0.15, "co_ppm": 10.0, "flue_temp_c": 1.0}
    together = figures_with_uncertainty(FuelRows.of(two, np.array([0, 1, 0])), read, u, co2_basis="calculated")
    for n, fuel in enumerate((two[0], two[1], two[0])):
        one = read | {"co2_pct": read["co2_pct"][n], "flue_temp_c": read["flue_temp_c"][n]}
        alone = figures_with_uncertainty(fuel, one, u, co2_basis="calculated")
        for name, value in alone.u.items():
            assert together.u[name][n] == pytest.approx(float(value), rel=1e-6, abs=1e-12, nan_ok=True), name


@property_settings
@given(near_edges, stated)
def test_figures_are_those_without_uncertainty(read: dict[str, float], u: dict[str, float]) -> None:
    found = figures_with_uncertainty(GAS, read, u, loss=GERMAN_GAS)
    for name, value in derived_figures(GAS, read, loss=GERMAN_GAS).items():
        assert found.figures[name] == pytest.approx(float(value), rel=1e-9, abs=1e-12, nan_ok=True), name


@property_settings
@given(st.floats(0.05, 2.0), st.floats(1.0, 3.0))
def test_a_worse_analyser_never_makes_a_figure_better(u_co: float, factor: float) -> None:
    fine, coarse = (figures_with_uncertainty(GAS, DRY, EXACT | {"co_ppm": u}) for u in (u_co, u_co * factor))
    assert coarse.u["co_ppm_air_free"] == pytest.approx(factor * float(fine.u["co_ppm_air_free"]), rel=1e-6)
    assert coarse.u["efficiency_pct_net"] >= fine.u["efficiency_pct_net"] * (1 - 1e-6)


# ---- more than, less than ----


def carried(read: dict[str, float], qualifiers: dict[str, str], **how: str) -> dict[str, str]:
    return dict(figures_with_uncertainty(GAS, read, {}, [qualifiers], **how).qualifiers[0])  # type: ignore[arg-type]  # words and figures of the cases


def test_more_co_than_can_be_shown_is_carried_on() -> None:
    more = (
        *("co_ppm_air_free", "co_co2_ratio", "co_mg_per_kwh_net", "co_mg_per_kwh_gross", "unburnt_loss_pct_net"),
        "dew_point_c",
    )
    less = ("efficiency_pct_net", "efficiency_pct_gross", "excess_air_ratio", "co2_pct", "sensible_loss_pct_net")
    expected = dict.fromkeys(more, "more_than") | dict.fromkeys(less, "less_than")
    assert carried(DRY | {"co_ppm": 2000.0}, {"co": "more_than"}) == expected
    assert carried(DRY | {"co_ppm": 2000.0}, {"co_ppm": "more_than"}) == expected


def test_less_o2_than_shown_means_more_co2_and_less_of_what_grows_with_air() -> None:
    said = carried(DRY, {"o2": "less_than"})
    assert said["o2_pct"] == said["excess_air_ratio"] == said["co_ppm_air_free"] == "less_than"
    assert said["co2_pct"] == said["efficiency_pct_net"] == said["dew_point_c"] == "more_than"
    assert carried(DRY | {"co2_pct": 9.1}, {"o2": "less_than"}, co2_basis="calculated")["co_co2_ratio"] == "less_than"
    assert "co_co2_ratio" not in carried(DRY | {"co2_pct": 9.1}, {"o2": "less_than"}, co2_basis="measured")


def test_readings_that_pull_opposite_ways_leave_nothing_known() -> None:
    said = carried(DRY | {"co_ppm": 2000.0}, {"co": "more_than", "o2": "less_than"})
    assert said["co_ppm_air_free"] == "not_known"
    assert said["unburnt_loss_pct_net"] == "not_known"
    assert said["excess_air_ratio"] == "less_than"
    assert carried(DRY, {"co": "more_than", "o2": "more_than"})["co_ppm_air_free"] == "more_than"


def test_plain_readings_carry_nothing_and_other_words_are_passed_over() -> None:
    words = {"co": "=", "o2": "sensor_fault", "draught": "more_than", "flue_temp": "not_measured"}
    assert carried(DRY, words) == {}
    assert figures_with_uncertainty(GAS, DRY, EXACT).qualifiers == ()


def test_each_reading_carries_its_own() -> None:
    read = {"o2_pct": [5.0, 5.0, np.nan], "co_ppm": [2000.0, 10.0, 2000.0]}
    found = figures_with_uncertainty(GAS, read, {}, [{"co": "more_than"}, {}, {"co": "more_than"}])
    assert [sorted(each) for each in found.qualifiers] == [
        [
            *("co2_pct", "co_co2_ratio", "co_mg_per_kwh_gross", "co_mg_per_kwh_net", "co_ppm_air_free"),
            *("dew_point_c", "excess_air_ratio", "unburnt_loss_pct_net"),
        ],
        [],
        [],
    ]


# ---- names and steps ----


def test_every_column_has_a_name_to_be_stated_by_and_a_step() -> None:
    """A tenth of what analysers show: 0.1 % of O2 and CO2, 1 ppm, 1 K, 0.1 kW (common practice, no source)."""
    assert dict(STATED_NAMES) == {
        "o2": "o2_pct",
        "co2": "co2_pct",
        "co": "co_ppm",
        "no": "no_ppm",
        "nox": "nox_ppm",
        "flue_temp": "flue_temp_c",
        "air_temp": "air_temp_c",
        "input": "input_kw_gross",
    }
    fine = {"o2_pct", "co2_pct", "input_kw_gross"}
    assert dict(zip(READ_COLUMNS, LEAST_STEPS, strict=True)) == {
        name: 0.01 if name in fine else 0.1 for name in STATED_NAMES.values()
    }
    unbounded = {"co2_pct", "flue_temp_c", "air_temp_c"}
    assert dict(zip(READ_COLUMNS, LEAST_VALUES, strict=True)) == {
        name: -np.inf if name in unbounded else 0.0 for name in STATED_NAMES.values()
    }
    assert O2_ENDS_PCT.tolist() == pytest.approx([18.0, 20.9, 20.946, 21.0, np.inf])


@pytest.mark.parametrize("name", STATED_NAMES)
def test_what_is_stated_by_name_reaches_its_column(name: str) -> None:
    u = standard_uncertainties({name: {"absolute": "3"}}, {})
    assert {column: value for column, value in u.items() if np.isfinite(value)} == {STATED_NAMES[name]: 1.5}


def test_words_by_which_way_a_figure_is_pulled() -> None:
    assert dict(DIRECTIONS) == {"more_than": 1.0, "less_than": -1.0}
    assert dict(WORDS) == {
        (True, False): "more_than",
        (False, True): "less_than",
        (True, True): "not_known",
        (False, False): "",
    }


def test_input_and_nox_are_as_uncertain_as_they_were_read() -> None:
    read = DRY | {"input_kw_gross": 20.0}
    found = figures_with_uncertainty(GAS, read, EXACT | {"input_kw_gross": 0.4, "nox_ppm": 2.0})
    assert found.u["input_kw_gross"] == pytest.approx(0.4, rel=1e-9)
    assert found.u["input_kw_net"] == pytest.approx(0.4 * GAS.net_per_gross, rel=1e-9)
    assert found.u["nox_ppm_air_free"] == pytest.approx(2.0 * 20.9 / 15.9, rel=1e-9)
    assert found.u["co_ppm_air_free"] == 0


def test_a_calculated_co2_is_stepped_halfway_to_nought_at_most() -> None:
    """O2 of 5 % to 2 points, CO2 of 0.5 %: with 7 % O2 the line would be below nought, so 0.25 % is taken; with 3 %
    O2 it gives 1.12 points more.
    """
    read = DRY | {"co2_pct": 0.5, "co_ppm": 100.0}
    found = figures_with_uncertainty(GAS, read, EXACT | {"o2_pct": 2.0}, co2_basis="calculated")
    more = 2 * (GAS.co2_max_pct - 0.04) / 20.946
    assert found.u["co_co2_ratio"] == pytest.approx((100 / 2500 - 100 / (1e4 * (0.5 + more))) / 2, rel=1e-9)


def test_little_co2_is_stepped_halfway_to_the_next_end_of_a_formula() -> None:
    """0.5 % of CO2 to 2 points, no O2 read: below it dilution ends at 20.9 % O2, so half of the way there is taken."""
    found = figures_with_uncertainty(GAS, {"co2_pct": 0.5, "co_ppm": 100.0}, EXACT | {"co2_pct": 2.0})
    slope = (0.04 - GAS.co2_max_pct) / 20.946
    lower, upper = (0.5 + GAS.co2_max_pct + slope * 20.9) / 2, 2.5
    expected = (100 / lower - 100 / upper) / 1e4 * 2.0 / (upper - lower)
    assert found.u["co_co2_ratio"] == pytest.approx(expected, rel=1e-9)
    assert np.isfinite([found.u["excess_air_ratio"], found.u["dilution_factor"]]).all()


def test_a_share_of_a_reading_below_nought_counts_by_its_size() -> None:
    stated = {"air_temp": {"absolute": "0.1", "relative_pct": "10"}}
    assert standard_uncertainties(stated, {"air_temp_c": [-20.0, 0.5]})["air_temp_c"].tolist() == [1.0, 0.05]


# ---- misuse ----


@pytest.mark.parametrize(
    ("given_wrong", "words"),
    [
        ({"u": {"o2": 0.1}}, "u: o2 is not known"),
        ({"u": {"o2_pct": -0.1}}, "u: a standard uncertainty is negative"),
        ({"u": {}, "co2_basis": "guessed"}, "co2_basis: guessed is not one of measured"),
        ({"u": {}, "qualifiers": [{}, {}]}, "qualifiers: there are 2, but must be one for each of 1"),
        ({"u": {}, "pressure_pa": [1e5, 1e5]}, "pressure_pa: its shape is"),
        ({"u": {}, "humidity_ratio": [0.01]}, "humidity_ratio: its shape is"),
    ],
)
def test_misuse_is_told_by_name(given_wrong: dict[str, object], words: str) -> None:
    with pytest.raises(ValueError, match=f"^{words}"):
        figures_with_uncertainty(GAS, DRY, **given_wrong)  # type: ignore[arg-type]  # words and figures of the cases


def test_scalars_in_scalars_out() -> None:
    found = figures_with_uncertainty(GAS, DRY, EXACT)
    assert isinstance(found, Derived)
    assert all(isinstance(value, float) for value in (*found.figures.values(), *found.u.values()))
