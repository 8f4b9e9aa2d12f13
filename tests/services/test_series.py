"""Series as the filter wants them, what analysers put in, and the sentence that explains a forecast."""

import math
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from fleet import drift
from fleet.models import Analyser, Appliance, Person, SheetVersion, User
from fleet.services import forecasts
from fleet.services.ceilings import ceiling_of
from fleet.services.forecast_words import Outlook, chance_of, sentence
from fleet.services.series import Corridor, Entry, Series, digest_of, panel_of, series_of
from tests.cast import NOON, SHEET, make_appliance, make_sheet, measured, store, visit_body

BIASED, GOOD = "biased", ("good 1", "good 2")
FIRST = date(2021, 3, 1)


def fleet(count: int = 60, bias: float = 0.0, seed: int = 1) -> list[Series]:
    """Series that drift a little; each visit's analyser by lot, one of which reads high in the last year."""
    rng = np.random.default_rng(seed)
    return [_one(number, rng, bias) for number in range(count)]


def _one(number: int, rng: np.random.Generator, bias: float) -> Series:
    pace, level, entries = rng.normal(-0.05, 0.08), 9.4, []
    for year in range(5):
        day = FIRST + timedelta(days=365 * year + int(rng.integers(0, 60)))
        by = BIASED if year == 4 and number % 3 == 0 else GOOD[int(rng.integers(0, 2))]
        read = level + pace * year + rng.normal(0, 0.12) + (bias if by == BIASED else 0.0)
        entries.append(Entry(day, f"{number}/{year}", read, math.nan, read, None, False, False, 1.0, by, f"{number}"))
    appliance = Appliance(sheet_id=Appliance().id)
    return Series(appliance, SheetVersion(), "high", "co2", tuple(entries), Corridor(9.0, 9.8, 9.4))


@pytest.mark.django_db
def test_an_analyser_that_reads_high_is_found_and_its_appliances_are_not_blamed() -> None:
    known = fleet(bias=0.4)
    snapshot = forecasts.refit_from(known, quantity="co2", rate="high", now=NOON)
    assert not snapshot.from_assumptions
    assert [name for name, each in snapshot.biases["checks"].items() if each["alarm"]] == [BIASED]
    off = forecasts.Corrections(**snapshot.biases)
    theirs = [each.entries[-1] for each in known if each.entries[-1].analyser == BIASED]
    assert np.mean([off.of(each) for each in theirs]) == pytest.approx(0.4, abs=0.12)
    others = [each.entries[-1] for each in known if each.entries[-1].analyser != BIASED]
    assert abs(np.mean([off.of(each) for each in others])) < 0.05
    assert np.mean(panel_of(known, off).as_found[-1]) == pytest.approx(
        np.mean([each.entries[-1].found for each in known]) - 0.4 / 3, abs=0.06
    )


@pytest.mark.django_db
def test_good_analysers_raise_no_alarm() -> None:
    snapshot = forecasts.refit_from(fleet(), quantity="co2", rate="high", now=NOON)
    assert not any(each["alarm"] for each in snapshot.biases["checks"].values())


@pytest.mark.django_db
def test_without_a_new_reading_nothing_is_learnt_again(monkeypatch: pytest.MonkeyPatch) -> None:
    known = fleet(30)
    first = forecasts.refit_from(known, quantity="co2", rate="high", now=NOON)

    def never(*_given: Any, **_named: Any) -> Any:
        raise AssertionError("fitted again")

    monkeypatch.setattr(drift, "fit", never)
    assert forecasts.refit_from(known[::-1], quantity="co2", rate="high", now=NOON + timedelta(days=1)) == first


@pytest.mark.django_db
def test_a_refit_begins_at_the_standing_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    first = forecasts.refit_from(fleet(30), quantity="co2", rate="high", now=NOON)
    fit, began = drift.fit, []

    def watched(*given: Any, warm: Any = None, **named: Any) -> Any:
        began.append(warm)
        return fit(*given, warm=warm, **named)

    monkeypatch.setattr(drift, "fit", watched)
    second = forecasts.refit_from(fleet(31), quantity="co2", rate="high", now=NOON)
    assert began[0].version == first.digest
    assert second.in_force and second != first


def test_a_changed_reading_changes_what_a_snapshot_was_learnt_from() -> None:
    known = fleet(3)
    assert digest_of(known) == digest_of(known[::-1])
    assert digest_of(known) != digest_of(known[:2])


# ---- out of records ----


def linkage(boiler: Appliance, manager: User) -> Appliance:
    return make_appliance(boiler.building, make_sheet(manager, SHEET | {"control": "linkage"}, "Linkage"), "Boiler 5")


def test_thin_air_at_the_visit_is_corrected_for_where_its_pressure_was_read(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User, manager: User
) -> None:
    """A linkage's air goes with the pressure, its gas with the root: thinner air burns richer, so CO2 reads high."""
    appliance, entries = linkage(boiler, manager), []
    for day, pressure in (("2025-03-02", None), ("2026-03-02", "970")):
        body = visit_body(appliance, person, analyser, day=day, found=("9.40", "9.10"), left=None)
        if pressure:
            body["conditions"]["barometric_pressure"] = measured(pressure, "hPa")
        store(body, technician, NOON)
    entries = series_of([Appliance.objects.get(id=appliance.id)])["co2", "high"][0].entries
    unread, thin = entries
    assert unread.found == pytest.approx(9.4)
    assert thin.found < 9.3
    assert thin.noise_scale < unread.noise_scale


def test_co_near_nothing_is_known_worse_than_co_far_up(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    for day, co in (("2025-03-02", "5"), ("2026-03-02", "200")):
        store(visit_body(boiler, person, analyser, day=day, co=co, left=None), technician, NOON)
    low, high = series_of([boiler])["co", "high"][0].entries
    assert low.noise_scale > 3 * high.noise_scale
    assert high.found == pytest.approx(math.log1p(high.found_raw or 0.0))


def test_calculated_co2_and_o2_are_one_series(
    boiler: Appliance, person: Person, analyser: Analyser, technician: User
) -> None:
    body = visit_body(boiler, person, analyser)
    for each in body["readings"]:
        each["values"]["o2"] = measured("4.2", "%")
    store(body, technician)
    assert {quantity for quantity, _rate in series_of([boiler])} == {"co2", "co"}


# ---- ceilings ----


def row(field: str, upper: float, **changes: Any) -> dict[str, Any]:
    measure = {"field": field, "factor": 1.0, "scaled_by": None, "o2_in_air_pct": None} | changes.pop("measure", {})
    plain = {"measure": measure, "upper": upper, "op": ">", "rates": None, "phases": None, "applies": "yes"}
    words = {"severity": "adjust", "set_name": "Set", "label": "CO", "limit_text": f"<= {upper:g}", "unit": "ppm"}
    return plain | words | changes


def upper_of(quantity: str, *rows: dict[str, Any]) -> float | None:
    card = {"ceilings": [], "stop_lines": [], "limits": list(rows)}
    read = {"o2_pct": 5.0, "co2_pct": 9.0, "dilution_factor": 20.9 / 15.9, "flue_loss_pct": 6.0, "rise_k": 120.0}
    found = ceiling_of(card, "high", quantity, read)
    return None if found is None else found.upper


AIR_FREE = {"factor": 20.9, "scaled_by": "o2_pct", "o2_in_air_pct": 20.9}
OVER_CO2 = {"factor": 1e-4, "scaled_by": "co2_pct"}


@pytest.mark.parametrize(
    ("limit", "upper"),
    [
        (row("co_ppm", 250.0, measure=AIR_FREE), 250.0),
        (row("co_ppm", 0.004, measure=OVER_CO2), 0.004 * 9.0 * 1e4 * 20.9 / 15.9),
        (row("co_ppm", 100.0), 100.0 * 20.9 / 15.9),
    ],
    ids=["air-free", "over CO2", "as measured"],
)
def test_a_co_limit_on_any_basis_is_carried_over_at_the_o2_and_co2_read(limit: dict[str, Any], upper: float) -> None:
    assert upper_of("co", limit) == pytest.approx(upper)


def test_a_temperature_counts_from_the_reference_air_and_a_loss_goes_with_the_rise() -> None:
    assert upper_of("temp_rise", row("flue_temp_c", 200.0)) == pytest.approx(180.0)
    assert upper_of("temp_rise", row("flue_loss_pct", 9.0)) == pytest.approx(180.0)


@pytest.mark.parametrize(
    "change",
    [{"phases": ["as left"]}, {"applies": "unclear"}, {"rates": ["low"]}, {"severity": "record"}, {"op": "<"}],
    ids=str,
)
def test_a_limit_that_may_not_apply_to_what_is_found_is_left_out(change: dict[str, Any]) -> None:
    assert upper_of("co", row("co_ppm", 100.0) | change) is None


def test_the_strictest_counts() -> None:
    rows = [row("co_ppm", each, measure=AIR_FREE) for each in (400.0, 200.0, 300.0)]
    assert upper_of("co", *rows) == pytest.approx(200.0)


# ---- in words ----


def outlook(**changes: Any) -> Outlook:
    known = {"pace": -0.21, "model_pace": -0.08, "horizon_on": date(2027, 3, 14), "is_due": False, "is_lower": True}
    return Outlook(**known | {"accepted_chance": 0.1} | changes)


def test_a_forecast_says_its_pace_the_models_and_by_when_the_chance_is_used_up() -> None:
    assert sentence(fleet(1)[0], outlook()) == (
        "CO₂ at high fire has fallen 0.21 points a year over 5 visits (this model: 0.08); "
        "one chance in ten of reaching the lower limit, 9 % by 2027-03-14."
    )


def test_a_model_that_goes_the_other_way_says_so_and_no_day_means_within_three_years() -> None:
    said = sentence(fleet(1)[0], outlook(model_pace=0.03, horizon_on=None, accepted_chance=0.08))
    assert "(this model: +0.03)" in said
    assert said.endswith("less than 8 chances in 100 of reaching a limit within three years.")


@pytest.mark.parametrize(("chance", "words"), [(0.02, "one chance in fifty"), (0.15, "15 chances in 100")])
def test_chances_are_said_as_one_says_them(chance: float, words: str) -> None:
    assert chance_of(chance) == words
