"""Which forecast sets an appliance's date, and what is held against what was found, of whose readings."""

from datetime import date, timedelta
from typing import Any

import pytest

from fleet.models import Analyser, Forecast, ForecastCheck, Snapshot, Visit
from fleet.queries.forecasts import analysers_off, forecast_accuracy_for, visible_forecasts
from tests.models.rows import DAY, MOMENT, made
from tests.queries.world import World

pytestmark = pytest.mark.django_db
LATER = MOMENT + timedelta(days=1)


def forecast(world: World, rate: str, horizon: str | None, basis: str = "its own record", **values: Any) -> Forecast:
    day = date.fromisoformat(horizon) if horizon else None
    return made(
        Forecast, appliance=world.ours.appliance, quantity="o2", rate=rate, horizon_on=day, basis=basis, **values
    )


@pytest.mark.parametrize(
    ("horizons", "sets_date"),
    [
        ({"a": "2026-06-01", "b": "2026-05-01", "c": "2027-01-01"}, {"b"}),
        ({"a": "2026-06-01", "b": None}, {"a"}),
        ({"a": None, "b": None}, set()),
        ({"a": "2026-06-01", "b": "2026-06-01"}, {"a", "b"}),
    ],
)
def test_the_first_accepted_risk_to_be_used_up_sets_the_date(
    world: World, horizons: dict[str, str | None], sets_date: set[str]
) -> None:
    for rate, horizon in horizons.items():
        forecast(world, rate, horizon)
    rows = visible_forecasts(world.who("auditor")).filter(quantity="o2")
    assert {each.rate for each in rows if each.sets_date} == sets_date


def test_from_assumptions_nothing_sets_a_date_and_nothing_hides_one(world: World) -> None:
    """T30: before a fit a forecast moves no revisit."""
    forecast(world, "a", "2026-04-01", basis="assumptions")
    forecast(world, "b", "2026-06-01")
    rows = visible_forecasts(world.who("auditor")).filter(quantity="o2")
    assert {each.rate: bool(each.sets_date) for each in rows} == {"a": False, "b": True}


def test_another_appliance_s_date_is_not_this_one_s(world: World) -> None:
    forecast(world, "a", "2026-06-01")
    made(Forecast, appliance=world.theirs.appliance, quantity="o2", rate="a", horizon_on=DAY, basis="its own record")
    (mine,) = visible_forecasts(world.who("auditor")).filter(quantity="o2")
    assert mine.sets_date


# ---- held against what was found ----


def check(visit: Visit, quantity: str, rate: str, **values: Any) -> None:
    made(ForecastCheck, visit=visit, quantity=quantity, rate=rate, **{"chance": 0.25, "ahead": True} | values)


def test_only_readings_of_one_s_own_clients_are_held(world: World) -> None:
    limited, whole, none = (forecast_accuracy_for(world.who("dispatcher", each)) for each in ("ours", "all", "none"))

    def readings(told: Any) -> dict[str, int]:
        return {each.quantity: sum(part.readings for part in (each.ahead, each.learnt) if part) for each in
                told.quantities}  # fmt: skip

    assert (readings(limited), readings(whole), readings(none)) == ({"co2": 1}, {"co2": 3}, {})


def test_what_was_forecast_ahead_stands_apart_from_what_was_learnt(world: World) -> None:
    ForecastCheck.objects.all().delete()
    for number, (ahead, chance, outside) in enumerate(
        ((True, 0.1, False), (True, 0.5, True), (False, 0.9, False), (True, 0.3, False))
    ):
        check(world.ours.visit, "co", f"r{number}", ahead=ahead, chance=chance, outside=outside)
    (told,) = forecast_accuracy_for(world.who("auditor")).quantities
    assert told.ahead is not None and told.learnt is not None
    # (0.1 + 0.5 + 0.3) / 3 was forecast; one of three was found outside.
    assert (told.ahead.readings, told.ahead.outside) == (3, 1)
    assert told.ahead.forecast_share == pytest.approx(0.3)
    assert told.ahead.found_share == pytest.approx(1 / 3)
    assert (told.learnt.readings, told.learnt.found_share) == (1, 0.0)


def test_quantities_stand_in_one_order_and_those_without_a_reading_not_at_all(world: World) -> None:
    for quantity in ("temp_rise", "co", "o2"):
        check(world.ours.visit, quantity, "high")
    told = forecast_accuracy_for(world.who("auditor")).quantities
    assert [each.quantity for each in told] == ["co2", "o2", "co", "temp_rise"]


def test_the_accepted_risk_is_the_newest_forecast_s_of_one_s_own(world: World) -> None:
    for made_at, risk, place in ((MOMENT, 0.1, world.ours), (LATER, 0.2, world.ours), (LATER, 0.9, world.theirs)):
        made(Forecast, appliance=place.appliance, quantity="co", rate=f"{risk}", made_at=made_at, accepted_risk=risk)
    for quantity in ("co", "temp_rise"):
        check(world.ours.visit, quantity, "high")
    told = {each.quantity: each.accepted_risk for each in forecast_accuracy_for(world.who("auditor")).quantities}
    assert (told["co"], told["temp_rise"]) == (0.2, None)


def test_series_from_assumptions_are_counted_where_something_is_forecast_by_them(world: World) -> None:
    for in_force, assumed in ((True, True), (True, False), (False, True)):
        snapshot = made(Snapshot, in_force=in_force, from_assumptions=assumed)
        for rate in ("a", "b"):
            made(Forecast, appliance=world.ours.appliance, quantity=f"q{in_force}{assumed}"[:10], rate=rate,
                 snapshot=snapshot)  # fmt: skip
    made(Snapshot, in_force=True, from_assumptions=True)
    assert forecast_accuracy_for(world.who("auditor")).from_assumptions == 1


# ---- analysers ----


def told_off(analyser: Analyser, *, in_force: bool = True, assumed: bool = False, alarm: bool = True) -> None:
    key = str(analyser.id)
    biases = {
        "checks": {key: {"alarm": alarm, "score": 4.2}},
        "analyser": {key: [0.1, 0.05, 9]},
        # Quarters by number since the year 1; the newest is 2026's first.
        "quarter": {f"{key}/8100": [0.02, 0.1, 5], f"{key}/8101": [0.15, 0.1, 7], "another/8102": [9.0, 0.1, 9]},
    }
    made(Snapshot, in_force=in_force, from_assumptions=assumed, biases=biases, quantity="co2", rate="high")


def test_an_analyser_that_reads_to_one_side_is_told_with_how_far_and_since_when(world: World) -> None:
    analyser = made(Analyser, name="Analyser 7")
    told_off(analyser)
    (off,) = analysers_off(world.who("technician", "none"))
    assert (off.name, off.quantity, off.rate, off.readings, off.score) == ("Analyser 7", "co2", "high", 7, 4.2)
    # Its own 0.10 and the newest quarter's 0.15.
    assert off.off == pytest.approx(0.25)
    # 8101 quarters of 365.25 / 4 days are 739 722.56; 2026-01-01 is day 739 617, so it is 106 days after.
    assert off.since == date(2026, 4, 17)


@pytest.mark.parametrize("changes", [{"in_force": False}, {"assumed": True}, {"alarm": False}])
def test_nobody_is_told_of_one_where_nothing_in_force_says_so(world: World, changes: dict[str, bool]) -> None:
    told_off(made(Analyser), **changes)
    assert analysers_off(world.who("manager", "all")) == ()


def test_who_has_left_is_told_of_no_analyser(world: World) -> None:
    told_off(made(Analyser))
    assert analysers_off(world.who("manager", "gone")) == ()
