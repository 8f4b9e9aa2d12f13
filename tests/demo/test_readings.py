"""What the demonstration's instruments show of its truth: plausible at any seed, of every kind, and the same again."""

import math
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy import stats

from fleet.combustion import FUELS
from fleet.demo import simulation
from fleet.demo.sheets import KINDS
from fleet.demo.simulation import Clock, Life, Test, begin_life, measured
from fleet.models import Analyser, Appliance, Building, Person, User
from fleet.quantities import CONDITION_QUANTITIES, READING_QUANTITIES
from tests import cast

SEEDS = st.integers(0, 2**32 - 1)
NINE = datetime(2026, 1, 15, 9, 0, tzinfo=UTC)
# Every seed meets the same rows, which nothing here changes.
SAME_ROWS = settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])

# The most CO2 that dry flue gas can hold [%]: natural gas about 12, propane about 14, light oil about 15.5; common
# practice, no one source.
HIGHEST_CO2 = {"natural_gas": 12.0, "propane": 13.8, "light_oil": 15.4}
# Net calorific value at 15 °C and 1013.25 hPa [MJ/m3]: ISO 6976 gives methane 33.95; natural gases of group H lie
# within a tenth of it.
METHANE_MJ_M3 = 33.95
ADA = Person(name="Ada Test")


@pytest.fixture
def instruments(manager: User) -> dict[str, Analyser]:
    return {co2: cast.make_analyser(manager, co2=co2) for co2 in ("calculated", "measured", "absent")}


def test_of(
    key: str, seed: int, building: Building, analyser: Analyser, *, begins: datetime = NINE, site: int = 1, **how: Any
) -> Test:
    appliance = Appliance(building=building, fuel=KINDS[key].fuel, name="Boiler 1")
    rng = np.random.default_rng(seed)
    life = begin_life(appliance, key, site, rng)
    return Test(life, ADA, analyser, begins, how.pop("bias", 0.0), rng, **how)


test_of.__test__ = False  # type: ignore[attr-defined]


def value(reading: dict[str, Any], name: str) -> float:
    return float(reading["values"][name]["value"])


@SAME_ROWS
@given(seed=SEEDS)
@pytest.mark.parametrize("key", KINDS)
def test_every_figure_is_one_that_its_instrument_can_show(
    key: str, seed: int, building: Building, instruments: dict[str, Analyser]
) -> None:
    for analyser in instruments.values():
        for reading in test_of(key, seed, building, analyser).readings("as_found"):
            for name, told in reading["values"].items():
                quantity = READING_QUANTITIES[name]
                if "value" in told:
                    assert quantity.low <= float(told["value"]) <= quantity.high, (name, told)
                    assert told["unit"] in quantity.units
                    assert not told["value"].startswith("-0.0")
                else:
                    assert (name, told["qualifier"]) == ("co", "not_measured")
            assert 10 < value(reading, "flue_temp") - value(reading, "air_temp") < 230


@SAME_ROWS
@given(seed=SEEDS)
@pytest.mark.parametrize("key", KINDS)
def test_co2_and_o2_belong_to_one_dry_flue_gas(
    key: str, seed: int, building: Building, instruments: dict[str, Analyser]
) -> None:
    """CO2 = most CO2 x (21 - O2) / 21, the rule of thumb of every handbook; ours is the stoichiometry of the fuel."""
    for reading in test_of(key, seed, building, instruments["calculated"]).readings("as_found"):
        expected = HIGHEST_CO2[KINDS[key].fuel] * (20.95 - value(reading, "o2")) / 20.95
        assert value(reading, "co2") == pytest.approx(expected, rel=0.04)


def test_what_measures_co2_scatters_and_what_calculates_it_does_not(
    building: Building, instruments: dict[str, Analyser]
) -> None:
    by_o2: dict[str, dict[float, set[float]]] = {"calculated": {}, "measured": {}}
    for co2, found in by_o2.items():
        test = test_of("house", 1, building, instruments[co2])
        test.rng = np.random.default_rng(7)
        for _n in range(60):
            gases = test._gases(5.0)
            found.setdefault(5.0, set()).add(float(gases["co2"]["value"]))
    assert len(by_o2["calculated"][5.0]) == 1
    assert 0.02 < float(np.std(list(by_o2["measured"][5.0]))) < 0.09


def test_an_instrument_without_a_cell_for_co_tells_none_and_no_co2(
    building: Building, instruments: dict[str, Analyser]
) -> None:
    for reading in test_of("oil", 3, building, instruments["absent"]).readings("as_found"):
        assert set(reading["values"]) == {"o2", "flue_temp", "air_temp", "co"}
        assert reading["values"]["co"] == {"qualifier": "not_measured"}
        assert "co" not in reading["series"]


@given(seed=SEEDS)
@SAME_ROWS
def test_the_same_seed_makes_the_same_readings(seed: int, building: Building, instruments: dict[str, Analyser]) -> None:
    first, again = (test_of("plant", seed, building, instruments["measured"]).readings("as_found") for _n in range(2))
    assert first == again


def test_co_climbs_as_the_air_runs_short_and_stops_at_what_the_cell_can_take(
    building: Building, instruments: dict[str, Analyser]
) -> None:
    """Each by the same draws, so that only the air differs."""
    shown = []
    for o2 in (6.0, 3.0, 2.0, 1.5, 1.0, 0.5):
        test = test_of("house", 5, building, instruments["calculated"])
        test.life.co_ppm, test.rng = 40.0, np.random.default_rng(9)
        shown.append(float(test._gases(o2)["co"]["value"]))
        assert test.highest_co_ppm == pytest.approx(shown[-1], abs=0.5)
    assert shown[0] == shown[1]
    assert all(b > a for a, b in pairwise(shown[1:]))
    test = test_of("house", 5, building, instruments["calculated"])
    test.life.co_ppm = 50_000.0
    assert float(test._gases(0.3)["co"]["value"]) == 1500


def test_cold_intake_air_is_denser_so_o2_reads_higher(building: Building, instruments: dict[str, Analyser]) -> None:
    """Every kind has its own slope; of 60 winters and summers, the means differ by it."""
    for key, kind in KINDS.items():
        read: dict[int, list[tuple[float, float]]] = {1: [], 7: []}
        for month, found in read.items():
            for seed in range(60):
                begins = NINE.replace(month=month, year=2000 + seed)
                test = test_of(key, seed, building, instruments["calculated"], begins=begins, site=seed)
                found.append((test.air_c, value(test.reading("as_found", "high"), "o2")))
        winter, summer = (np.mean(found, axis=0) for found in read.values())
        assert winter[0] < 9 < 17 < summer[0]
        slope = (summer[1] - winter[1]) / (summer[0] - winter[0])
        assert slope == pytest.approx(kind.weather_per_k, abs=0.015)


def test_appliances_of_a_site_share_what_the_day_does(building: Building, instruments: dict[str, Analyser]) -> None:
    def shift(site: int, begins: datetime, seed: int) -> float:
        return test_of("house", seed, building, instruments["calculated"], site=site, begins=begins).site_day

    assert shift(4, NINE, 1) == shift(4, NINE + timedelta(hours=5), 2)
    assert shift(4, NINE, 1) != shift(5, NINE, 1)
    assert shift(4, NINE, 1) != shift(4, NINE + timedelta(days=1), 1)
    assert np.std([shift(site, NINE, 1) for site in range(300)]) == pytest.approx(simulation.SITE_DAY_SD, rel=0.15)


def test_an_instruments_bias_stands_in_each_of_its_readings(
    building: Building, instruments: dict[str, Analyser]
) -> None:
    plain, biased = (
        test_of("block", 11, building, instruments["calculated"], bias=bias).reading("as_found", "low")
        for bias in (0.0, 0.4)
    )
    assert value(biased, "o2") - value(plain, "o2") == pytest.approx(0.4, abs=0.1001)


# ---- the analyser's series, the meter, the clock ----


@SAME_ROWS
@given(seed=SEEDS)
def test_a_series_comes_to_rest_at_the_reading(seed: int, building: Building, instruments: dict[str, Analyser]) -> None:
    """First-order lag of 25 s: after 60 s 1.5 x exp(-2.4) = 0.14 % O2 is left of it, after 180 s nothing to see."""
    for reading in test_of("linkage", seed, building, instruments["calculated"]).readings("as_found"):
        series = reading["series"]
        assert series["at_s"] == [str(each) for each in range(0, 181, 10)]
        o2 = [float(each) for each in series["o2"]]
        assert o2[0] - value(reading, "o2") == pytest.approx(1.5, abs=0.25)
        assert o2[6] - value(reading, "o2") == pytest.approx(0.14, abs=0.25)
        assert o2[-1] == pytest.approx(value(reading, "o2"), abs=0.2)
        assert {len(column) for column in series.values()} == {19}
        assert float(series["flue_temp"][-1]) == pytest.approx(value(reading, "flue_temp"), abs=1.0)


def test_older_readings_have_no_series_and_no_meter(building: Building, instruments: dict[str, Analyser]) -> None:
    for logged in (True, False):
        test = test_of("house", 2, building, instruments["calculated"], site=3, logged=logged)
        high, low = test.readings("as_found")
        assert ("series" in high, "gas_rate" in high) == (logged, logged)
        assert "gas_rate" not in low


@pytest.mark.parametrize(
    ("site", "key", "timed"), [(3, "house", True), (4, "house", False), (3, "oil", False), (6, "plant", True)]
)
def test_the_meter_is_timed_for_gas_at_each_third_building(
    site: int, key: str, timed: bool, building: Building, instruments: dict[str, Analyser]
) -> None:
    high = test_of(key, 2, building, instruments["calculated"], site=site).reading("as_found", "high")
    assert ("gas_rate" in high) == timed


@SAME_ROWS
@given(seed=SEEDS)
@pytest.mark.parametrize("key", ["house", "plant", "water"])
def test_what_the_meter_counts_is_the_rated_input(
    key: str, seed: int, building: Building, instruments: dict[str, Analyser]
) -> None:
    """kW = m3 x MJ/m3 x 1000 / s, with the published heating value of methane."""
    told = test_of(key, seed, building, instruments["calculated"], site=3).reading("as_found", "high")["gas_rate"]
    volume = float(told["index_end"]) - float(told["index_start"])
    input_kw = volume * METHANE_MJ_M3 * 1000 / float(told["seconds"])
    assert input_kw == pytest.approx(float(KINDS[key].sheet["rated_input_kw"]), rel=0.2)


def test_readings_follow_one_another(building: Building, instruments: dict[str, Analyser]) -> None:
    test = test_of("house", 2, building, instruments["calculated"])
    taken = [each["taken_at"] for each in test.readings("as_found") + test.readings("as_left")]
    assert taken == [f"2026-01-15T09:{minute:02d}:00+00:00" for minute in (7, 14, 21, 28)]
    assert Clock(NINE).next() == taken[0]


@pytest.mark.parametrize(
    ("given_value", "decimals", "shown"), [(-0.0, 0, "0"), (9.25, 1, "9.2"), (4, 0, "4"), (-3.14, 1, "-3.1")]
)
def test_a_value_is_a_decimal_string_at_the_resolution_read(given_value: float, decimals: int, shown: str) -> None:
    assert measured(given_value, decimals, "%") == {"value": shown, "unit": "%"}


def test_conditions_that_a_visit_tells_are_known_quantities() -> None:
    assert {"zero_o2", "outdoor_temp", "ambient_co_before", "ambient_co_after", "zero_co"} <= set(CONDITION_QUANTITIES)


# ---- the truth itself ----


def lives(key: str, count: int) -> list[Life]:
    return [begin_life(Appliance(), key, 1, np.random.default_rng(seed)) for seed in range(count)]


@pytest.mark.parametrize("key", KINDS)
def test_a_life_begins_near_the_targets_of_its_sheet(key: str) -> None:
    """Two-sided t-test of 300 lives at each rate, refused at a chance of one in ten thousand."""
    born = lives(key, 300)
    for rate, target in KINDS[key].targets_o2.items():
        o2 = [each.o2_pct[rate] for each in born]
        assert stats.ttest_1samp(o2, target).pvalue > 1e-4
        assert np.std(o2) == pytest.approx(simulation.SETTING_SD, rel=0.15)
    assert np.median([each.co_ppm for each in born]) == pytest.approx(KINDS[key].co_median_ppm, rel=0.2)


def test_targets_in_co2_are_the_o2_of_the_sheets_own_fuel() -> None:
    """9.3 % CO2 of natural gas: O2 = 21 x (1 - 9.3 / 12) = 4.7 %; a sheet in O2 says it itself."""
    assert KINDS["house"].targets_o2["high"] == pytest.approx(20.95 * (1 - 9.3 / 12.0), abs=0.3)
    assert KINDS["plant"].targets_o2 == {"high": 4.6, "low": 5.2}
    assert list(KINDS["oil"].targets_o2) == ["high"]
    assert KINDS["oil"].targets_o2["high"] == pytest.approx(20.95 * (1 - 12.4 / 15.4), abs=0.3)


def test_nothing_ages_before_its_first_visit_or_on_the_same_day() -> None:
    life = lives("house", 1)[0]
    before = (dict(life.o2_pct), life.flue_rise_k)
    for _n in range(2):
        life.age(date(2026, 1, 15), np.random.default_rng(1))
    assert (life.o2_pct, life.flue_rise_k) == before
    assert life.last == date(2026, 1, 15)


def test_the_scatter_grows_with_the_root_of_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Wiener process: variance 0.1^2 a year. Chi-squared bounds of 400 lives at a chance of one in ten thousand."""
    monkeypatch.setattr(simulation, "STEP_CHANCE_A_YEAR", 0.0)
    for days in (91, 365, 1461):
        moved = []
        for seed, life in enumerate(lives("plant", 400)):
            before, rng = life.o2_pct["high"], np.random.default_rng([seed, 1])
            life.drift = dict.fromkeys(life.drift, 0.0)
            life.age(date(2022, 1, 1), rng)
            life.age(date(2022, 1, 1) + timedelta(days=days), rng)
            moved.append(life.o2_pct["high"] - before)
        ratio = np.sum(np.square(moved)) / (0.10**2 * days / 365.25)
        low, high = stats.chi2.ppf([1e-4, 1 - 1e-4], 400)
        assert low < ratio < high


def test_steps_come_as_seldom_as_said_and_both_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(simulation, "STEP_PCT", 5.0)
    moved = []
    for seed, life in enumerate(lives("open", 1500)):
        before, rng = life.o2_pct["high"], np.random.default_rng([seed, 2])
        life.age(date(2024, 1, 1), rng)
        life.age(date(2026, 1, 1), rng)
        moved.append(life.o2_pct["high"] - before)
    up, down = sum(each > 3.5 for each in moved), sum(each < -3.5 for each in moved)
    low, high = stats.binom.ppf([1e-4, 1 - 1e-4], 1500, 0.03 * 2)
    assert low <= up + down <= high
    assert stats.binomtest(up, up + down, 0.5).pvalue > 1e-4


@given(seed=SEEDS, years=st.integers(1, 30))
@settings(max_examples=50)
def test_however_old_it_still_burns_and_its_heat_is_no_less_than_at_first(seed: int, years: int) -> None:
    rng = np.random.default_rng(seed)
    life = begin_life(Appliance(), "house", 1, rng)
    life.drift = dict.fromkeys(life.drift, -0.6)
    for year in range(years + 1):
        life.age(date(1995 + year, 1, 15), rng)
        assert min(life.o2_pct.values()) >= 0.8
        assert life.flue_rise_k >= 0
    assert not math.isnan(sum(life.o2_pct.values()))


def test_an_adjustment_brings_every_rate_back_and_halves_what_runs_hot() -> None:
    rng = np.random.default_rng(3)
    life = lives("plant", 1)[0]
    life.o2_pct, life.flue_rise_k = {"high": 9.0, "low": 2.0}, 12.0
    life.set_anew(rng)
    for rate, target in life.kind.targets_o2.items():
        assert abs(life.o2_pct[rate] - target) < 5 * simulation.SETTING_SD
    assert life.flue_rise_k == 6.0


def test_every_kind_burns_a_fuel_that_is_known() -> None:
    assert {kind.fuel for kind in KINDS.values()} == set(HIGHEST_CO2) <= set(FUELS)
