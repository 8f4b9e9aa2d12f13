from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.combustion import (
    FUELS,
    INVALIDATING,
    TEST_GASES,
    Fuel,
    FuelRows,
    ReadingFlag,
    co2_pct_from_o2,
    dew_point_c,
    doubts,
    doubts_of_rows,
    excess_air_ratio_from_o2,
    identical_readings,
    reading_flags,
)
from fleet.combustion.flue_gas import CO2_AIR_PCT, O2_AIR_PCT
from fleet.combustion.plausibility import Co2Basis
from tests.combustion.cases import fuels, property_settings

GAS = FUELS["natural_gas"]


def codes(o2_pct: float, co2_pct: float, co_ppm: float, basis: Co2Basis = "measured", fuel: Fuel = GAS) -> list[str]:
    return [doubt.code for doubt in doubts(fuel, o2_pct, co2_pct, co_ppm, co2_basis=basis)]


@property_settings
@given(fuels, st.floats(0.6, 17.9), st.floats(0.0, 900.0), st.floats(-0.3, 0.3), st.floats(0.0, 0.5))
def test_a_sound_reading_raises_nothing_leaked_air_or_not(
    fuel: Fuel, o2_pct: float, co_ppm: float, error_points: float, air_share: float
) -> None:
    """Errors up to the analyser's own 0.3 points pass, and so does any leak: it moves along the same line."""
    diluted_o2 = (1 - air_share) * o2_pct + air_share * O2_AIR_PCT
    diluted_co2 = (1 - air_share) * co2_pct_from_o2(fuel, o2_pct) + air_share * CO2_AIR_PCT + error_points
    flags = reading_flags(fuel, diluted_o2, diluted_co2, co_ppm, co2_basis="measured")
    assert ReadingFlag(int(flags)) & ~ReadingFlag.O2_TOO_DILUTE == ReadingFlag(0)


@pytest.mark.parametrize("o2_pct", [3.0, 5.0, 8.0])
@pytest.mark.parametrize("burnt", ["propane", "butane", "light_oil"])
def test_another_fuel_than_stated_is_found(o2_pct: float, burnt: str) -> None:
    assert codes(o2_pct, float(co2_pct_from_o2(FUELS[burnt], o2_pct)), 20.0) == ["pair_misfits_fuel"]


@pytest.mark.parametrize("co2_pct", [float(co2_pct_from_o2(FUELS["natural_gas_l"], 5.0)), np.nan])
def test_neighbouring_gases_and_a_missing_value_are_not_accused(co2_pct: float) -> None:
    assert codes(5.0, co2_pct, 20.0) == []


def test_more_co2_than_the_fuel_can_give_is_found_without_o2() -> None:
    assert codes(np.nan, 13.0, 20.0) == ["pair_misfits_fuel"]
    assert codes(np.nan, 11.5, 20.0) == []


def test_the_pair_is_not_judged_where_co2_is_not_measured() -> None:
    assert codes(5.0, 9.5, 20.0, "calculated") == ["co2_calculated"]
    assert codes(5.0, 2.0, 20.0, "absent") == []


def test_calculated_co2_gives_away_an_analyser_set_to_another_fuel() -> None:
    propane_pct = float(co2_pct_from_o2(FUELS["propane"], 5.0))
    assert codes(5.0, propane_pct, 20.0, "calculated") == ["co2_calculated", "co2_of_other_fuel"]


@pytest.mark.parametrize("constant_pct", [11.7, 11.8, 11.9, 12.0, 12.1])
@pytest.mark.parametrize("o2_pct", [1.0, 5.0, 12.0])
def test_the_usual_natural_gas_constants_are_one_fuel(constant_pct: float, o2_pct: float) -> None:
    """Common practice, no source: analysers carry 11.7 to 12.1 % and print one decimal."""
    printed_pct = round(constant_pct * (1 - o2_pct / 20.9), 1)
    assert codes(o2_pct, printed_pct, 20.0, "calculated") == ["co2_calculated"]


def test_the_rich_side_is_a_trap_with_or_without_o2() -> None:
    """CO2 10.8 % with O2 0 and 13 300 ppm: equilibrium frozen at 1500 K, 5 % short of air (Cantera 3.2)."""
    assert codes(0.0, 10.8, 13_300.0) == ["rich_side"]
    assert codes(np.nan, 10.8, 13_300.0) == ["rich_side"]
    assert codes(0.0, np.nan, 13_300.0, "absent") == ["rich_side"]
    assert codes(4.0, 9.5, 13_300.0) == []


def test_nearly_air_and_more_than_air() -> None:
    assert codes(18.0, np.nan, 60.0, "absent") == ["o2_too_dilute"]
    assert codes(20.9, np.nan, 0.0, "absent") == ["o2_too_dilute"]
    assert codes(21.3, np.nan, 0.0, "absent") == ["o2_above_air"]
    assert codes(17.99, np.nan, 60.0, "absent") == []


def test_only_a_calculated_co2_and_a_wet_probe_leave_a_reading_standing() -> None:
    standing = [flag for flag in ReadingFlag if flag not in INVALIDATING]
    assert standing == [ReadingFlag.CO2_CALCULATED, ReadingFlag.CONDENSING_IN_PROBE]
    assert [doubt.makes_invalid for doubt in doubts(GAS, 5.0, 9.0, 20.0, co2_basis="calculated")] == [False]
    assert [doubt.makes_invalid for doubt in doubts(GAS, 5.0, 9.0, 20.0, co2_basis="measured", flue_temp_c=45.0)] == [
        False
    ]
    assert [doubt.makes_invalid for doubt in doubts(GAS, 18.5, 1.4, 60.0, co2_basis="measured")] == [True]


@pytest.mark.parametrize("burnt", [name for name in FUELS if name not in TEST_GASES])
@pytest.mark.parametrize("o2_pct", [3.0, 8.0])
def test_a_misfitting_pair_names_the_fuel_that_it_fits(burnt: str, o2_pct: float) -> None:
    """Stated as biogas, which only biogas fits; fuels whose maxima lie close may be taken for each other."""
    found = doubts(FUELS["biogas"], o2_pct, float(co2_pct_from_o2(FUELS[burnt], o2_pct)), 20.0, co2_basis="measured")
    if burnt == "biogas":
        assert found == ()
    else:
        (doubt,) = found
        assert FUELS[doubt.named["fuel"]].co2_max_pct == pytest.approx(FUELS[burnt].co2_max_pct, abs=0.01)


def test_a_pair_that_no_fuel_explains_names_none() -> None:
    (doubt,) = doubts(GAS, 5.0, 3.0, 20.0, co2_basis="measured")
    assert doubt.named == {}


def test_co2_alone_names_no_fuel() -> None:
    (doubt,) = doubts(GAS, np.nan, 13.7, 20.0, co2_basis="measured")
    assert doubt.named == {}


@property_settings
@given(fuels, st.floats(0.0, 15.0), st.floats(10.0, 90.0))
def test_water_in_the_probe_is_expected_below_the_dew_point(fuel: Fuel, o2_pct: float, flue_c: float) -> None:
    dew_c = float(dew_point_c(fuel, excess_air_ratio_from_o2(fuel, o2_pct)))
    flags = reading_flags(fuel, o2_pct, np.nan, 20.0, co2_basis="absent", flue_temp_c=flue_c)
    assert (ReadingFlag.CONDENSING_IN_PROBE in ReadingFlag(int(flags))) == (flue_c < dew_c)


def test_water_in_the_probe_is_told_from_co2_too_and_never_without_both() -> None:
    """A dew point of 54 °C at 9 % CO2 (fixtures/golden/setpoints.csv)."""
    for co2, temp, held in ((9.0, 53.0, True), (9.0, 56.0, False), (np.nan, 40.0, False), (9.0, np.nan, False)):
        flags = reading_flags(GAS, np.nan, co2, 20.0, co2_basis="calculated", flue_temp_c=temp)
        assert (ReadingFlag.CONDENSING_IN_PROBE in ReadingFlag(int(flags))) is held
    (doubt,) = doubts(GAS, 5.0, np.nan, 20.0, co2_basis="absent", flue_temp_c=40.0)
    assert doubt.figures == {"flue_temp_c": 40.0, "dew_point_c": pytest.approx(54.1, abs=0.1)}


def test_a_doubt_brings_its_figures_with_it() -> None:
    (doubt,) = doubts(GAS, 5.0, 10.5, 20.0, co2_basis="measured")
    assert doubt.figures["expected_co2_pct"] == pytest.approx(9.07, abs=0.01)
    assert doubt.figures["apparent_co2_max_pct"] == pytest.approx(13.8, abs=0.05)


def test_many_readings_at_once_agree_with_one_at_a_time() -> None:
    o2, co2, co = np.array([5.0, 18.5, 21.5, 0.0, np.nan]), np.array([11.0, 1.4, 0.1, 10.0, np.nan]), 2000.0
    flags = reading_flags(GAS, o2, co2, co, co2_basis="measured")
    single = [int(reading_flags(GAS, a, b, co, co2_basis="measured")) for a, b in zip(o2, co2, strict=True)]
    assert flags.tolist() == single


def test_words_of_many_readings_are_those_of_each() -> None:
    o2, co2 = [5.0, 5.0, 18.5, np.nan, 0.0], [9.07, 10.5, 1.4, 13.5, 10.8]
    co, flue_c = [20.0, 20.0, 60.0, 20.0, 5000.0], [120.0, 120.0, 40.0, np.nan, 150.0]
    basis: list[Co2Basis] = ["measured", "measured", "absent", "calculated", "measured"]
    together = doubts_of_rows(GAS, o2, co2, co, co2_basis=basis, flue_temp_c=flue_c)
    for row, found in enumerate(together):
        alone = doubts(GAS, o2[row], co2[row], co[row], co2_basis=basis[row], flue_temp_c=flue_c[row])
        assert [(each.code, str(each.figures), each.named) for each in found] == [
            (each.code, str(each.figures), each.named) for each in alone
        ]
    assert together[0] == ()
    assert [each.code for each in together[1]] == ["pair_misfits_fuel"]


def test_words_know_the_fuel_of_their_row() -> None:
    rows = FuelRows.of([GAS, FUELS["propane"]], np.array([0, 1]))
    found = doubts_of_rows(rows, 5.0, 10.5, 20.0, co2_basis="measured")
    assert [[doubt.named for doubt in row] for row in found] == [[{"fuel": "propane"}], []]


def test_one_reading_given_as_scalars_is_one_row() -> None:
    assert [len(row) for row in doubts_of_rows(GAS, 5.0, 10.5, 20.0, co2_basis="measured")] == [1]


# ---- where each flag begins ----


def flags_of(*reading: float, **how: Any) -> ReadingFlag:
    return ReadingFlag(int(reading_flags(GAS, *reading, **{"co2_basis": "measured"} | how)))


def test_flags_are_numbered_as_records_hold_them() -> None:
    assert {flag.name: flag.value for flag in ReadingFlag} == {
        "O2_ABOVE_AIR": 1,
        "O2_TOO_DILUTE": 2,
        "PAIR_MISFITS_FUEL": 4,
        "CO2_CALCULATED": 8,
        "RICH_SIDE": 16,
        "CO2_OF_OTHER_FUEL": 32,
        "CONDENSING_IN_PROBE": 64,
    }
    assert [flag.name for flag in ReadingFlag if flag.value & INVALIDATING] == [
        *("O2_ABOVE_AIR", "O2_TOO_DILUTE", "PAIR_MISFITS_FUEL", "RICH_SIDE", "CO2_OF_OTHER_FUEL")
    ]


def test_more_than_air_begins_beyond_the_error_of_a_cell() -> None:
    """20.9 % and 0.3 % (EN 50379-2, from memory); nearly air from 18 % to there."""
    assert flags_of(np.nextafter(18.0, 0), np.nan, 60.0) == ReadingFlag(0)
    assert flags_of(18.0, np.nan, 60.0) == flags_of(21.2, np.nan, 60.0) == ReadingFlag.O2_TOO_DILUTE
    assert flags_of(np.nextafter(21.2, 22), np.nan, 60.0) == ReadingFlag.O2_ABOVE_AIR


@pytest.mark.parametrize(
    ("o2_pct", "co_ppm", "rich"),
    [(0.5, 1000.0, True), (0.5, 999.9, False), (0.501, 1000.0, False), (np.nan, 1000.0, True), (np.nan, 999.0, False)],
)
def test_rich_is_much_co_with_next_to_no_o2(o2_pct: float, co_ppm: float, rich: bool) -> None:
    assert (ReadingFlag.RICH_SIDE in flags_of(o2_pct, np.nan, co_ppm)) is rich


@pytest.mark.parametrize("name", ["natural_gas", "propane", "light_oil"])
@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize("o2_pct", [0.6, 5.0, 15.0])
def test_a_pair_may_stray_by_three_standard_deviations(name: str, way: float, o2_pct: float) -> None:
    """0.15 points of CO2, 0.15 of O2 along the fuel's line, 0.1 of the fuel's maximum as diluted, in squares."""
    fuel = FUELS[name]
    std = float(np.hypot.reduce([0.15, 0.15 * fuel.co2_max_pct / 20.946, 0.1 * (20.9 - o2_pct) / 20.9]))
    for share, misfits in ((0.999, False), (1.001, True)):
        co2_pct = float(co2_pct_from_o2(fuel, o2_pct)) + way * share * 3 * std
        flags = reading_flags(fuel, o2_pct, co2_pct, 20.0, co2_basis="measured")
        assert (ReadingFlag.PAIR_MISFITS_FUEL in ReadingFlag(int(flags))) is misfits


def test_co2_alone_may_exceed_the_maximum_by_three_standard_deviations() -> None:
    """0.15 of the cell and 0.1 of the fuel in squares, three times: 0.541 points."""
    margin = 3 * float(np.hypot(0.15, 0.1))
    assert flags_of(np.nan, GAS.co2_max_pct + 0.999 * margin, 20.0) == ReadingFlag(0)
    assert flags_of(np.nan, GAS.co2_max_pct + 1.001 * margin, 20.0) == ReadingFlag.PAIR_MISFITS_FUEL
    assert flags_of(np.nan, 0.5, 20.0) == ReadingFlag(0)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_calculated_co2_may_come_from_a_constant_0_8_points_away(way: float) -> None:
    share = 5.0 / O2_AIR_PCT
    for gap, other in ((0.799, False), (0.801, True)):
        co2_pct = (GAS.co2_max_pct + way * gap) * (1 - share) + CO2_AIR_PCT * share
        found = flags_of(5.0, co2_pct, 20.0, co2_basis="calculated")
        assert (ReadingFlag.CO2_OF_OTHER_FUEL in found) is other
        assert ReadingFlag.CO2_CALCULATED in found


def test_a_calculated_co2_of_nearly_air_tells_no_constant_and_none_read_is_not_calculated() -> None:
    both = ReadingFlag.CO2_CALCULATED | ReadingFlag.CO2_OF_OTHER_FUEL
    assert flags_of(np.nextafter(18.0, 0), 5.0, 20.0, co2_basis="calculated") == both
    diluted = ReadingFlag.CO2_CALCULATED | ReadingFlag.O2_TOO_DILUTE
    assert flags_of(18.0, 5.0, 20.0, co2_basis="calculated") == diluted
    assert flags_of(5.0, np.nan, 20.0, co2_basis="calculated") == ReadingFlag(0)


def test_a_rich_flame_is_not_held_against_its_fuel() -> None:
    assert flags_of(0.2, 3.0, 5000.0) == ReadingFlag.RICH_SIDE
    assert flags_of(0.2, 3.0, 500.0) == ReadingFlag.PAIR_MISFITS_FUEL


def test_each_doubt_shows_the_figures_that_fired_it() -> None:
    """Figures by hand: the pair's maximum (CO2 - s 0.04) / (1 - s), s = O2 / 20.946; the dew point from 14 % water."""
    share = 5.0 / 20.946
    pair = (10.5 - share * 0.04) / (1 - share)
    expected = GAS.co2_max_pct * (1 - share) + 0.04 * share
    fuel = {"apparent_co2_max_pct": pytest.approx(pair), "fuel_co2_max_pct": GAS.co2_max_pct}
    read = {"o2_pct": 5.0, "co2_pct": 10.5}
    misfit, wet = doubts(GAS, 5.0, 10.5, 20.0, co2_basis="measured", flue_temp_c=40.0)
    assert (misfit.code, misfit.makes_invalid, misfit.named) == ("pair_misfits_fuel", True, {"fuel": "propane"})
    assert misfit.figures == read | {"expected_co2_pct": pytest.approx(expected)} | fuel
    assert list(misfit.figures)[:3] == ["o2_pct", "co2_pct", "expected_co2_pct"]
    assert (wet.code, wet.makes_invalid, wet.named) == ("condensing_in_probe", False, {})
    assert set(wet.figures) == {"flue_temp_c", "dew_point_c"}
    repeated, other = doubts(GAS, 5.0, 10.5, 20.0, co2_basis="calculated")
    assert (repeated.code, repeated.figures) == ("co2_calculated", read)
    assert (other.code, other.figures, other.makes_invalid) == ("co2_of_other_fuel", read | fuel, True)
    (above,) = doubts(GAS, 21.5, 0.1, 7.0, co2_basis="absent")
    assert (above.code, above.figures, above.makes_invalid) == ("o2_above_air", {"o2_pct": 21.5}, True)
    (dilute,) = doubts(GAS, 18.5, 1.4, 7.0, co2_basis="absent")
    assert (dilute.code, dilute.figures) == ("o2_too_dilute", {"o2_pct": 18.5, "co_ppm": 7.0})
    (rich,) = doubts(GAS, 0.2, 10.5, 7000.0, co2_basis="absent")
    assert (rich.code, rich.figures) == ("rich_side", {"o2_pct": 0.2, "co2_pct": 10.5, "co_ppm": 7000.0})
    (alone,) = doubts(GAS, np.nan, 13.0, 20.0, co2_basis="measured")
    assert alone.figures["expected_co2_pct"] == GAS.co2_max_pct
    assert [
        each.figures["co_ppm"] for (each,) in doubts_of_rows(GAS, 18.5, np.nan, [1.0, 2.0], co2_basis="absent")
    ] == [*(1.0, 2.0)]


READ = {"o2_pct": 5.1, "co2_pct": 9.0, "co_ppm": 34.0, "flue_temp_c": 61.3, "air_temp_c": 18.2}


@pytest.mark.parametrize(
    ("other", "pairs"),
    [
        (READ, [(0, 1)]),
        (READ | {"flue_temp_c": 61.4}, []),
        (READ | {"air_temp_c": None}, [(0, 1)]),
        (READ | {"air_temp_c": np.nan, "co2_pct": None}, []),
        ({"no_ppm": 11.0, "co2_pct": 9.0, "air_temp_c": 18.2}, []),
    ],
)
def test_readings_that_agree_to_the_last_digit_are_paired(
    other: dict[str, float | None], pairs: list[tuple[int, int]]
) -> None:
    assert identical_readings([READ, other]) == pairs


def test_agreement_in_what_does_not_change_is_no_copy() -> None:
    still = {"co2_pct": 9.0, "air_temp_c": 18.2, "inlet_pa": 2000.0, "draught_pa": -5.0, "co_ppm": None}
    assert identical_readings([still, dict(still)]) == []


@pytest.mark.parametrize("alert", ["o2_pct", "co_ppm", "flue_temp_c"])
def test_one_alert_quantity_among_four_is_enough_and_three_are_not(alert: str) -> None:
    still: dict[str, float | None] = {"co2_pct": 9.0, "air_temp_c": 18.2, "inlet_pa": 2000.0}
    four = still | {alert: 31.0}
    assert identical_readings([four, dict(four)]) == [(0, 1)]
    three = four | {"inlet_pa": None}
    assert identical_readings([three, dict(three)]) == []
    assert identical_readings([four, four | {"draught_pa": -5.0}]) == [(0, 1)]


def test_every_pair_of_copies_is_found_among_others() -> None:
    others = [READ | {"co_ppm": 40.0 + number} for number in range(20)]
    assert identical_readings([READ, *others[:7], READ, *others[7:], READ]) == [(0, 8), (0, 22), (8, 22)]
    assert identical_readings([]) == []
    assert identical_readings([{}, {}]) == []


def test_refuses_an_unknown_basis() -> None:
    with pytest.raises(ValueError, match="co2_basis"):
        reading_flags(GAS, 5.0, 9.0, 20.0, co2_basis="guessed")  # type: ignore[arg-type]  # the misuse under test
    with pytest.raises(ValueError, match="co2_basis"):
        reading_flags(GAS, [5.0], 9.0, 20.0, co2_basis=["felt"])  # type: ignore[list-item]  # the misuse under test
