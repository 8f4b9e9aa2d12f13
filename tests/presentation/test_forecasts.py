"""The sentence that explains a forecast, and the chances in it."""

from datetime import date
from typing import Any

import pytest

from fleet.models import Forecast
from fleet.presentation.forecasts import forecast_sentence, warning_words


def forecast(
    *, pace: float = -0.21, model_pace: float | None = -0.08, is_due: bool = False, **changes: Any
) -> Forecast:
    outlook = {"pace": pace, "model_pace": model_pace, "is_due": is_due, "is_lower": True}
    known = {"quantity": "co2", "rate": "high", "visits_used": 5, "unit": "%", "lower": 9.0, "upper": 9.8,
             "accepted_risk": 0.1, "horizon_on": date(2027, 3, 14)}  # fmt: skip
    return Forecast(**known | changes, outlook=outlook)


def test_a_forecast_says_its_pace_the_models_and_by_when_the_chance_is_used_up() -> None:
    assert forecast_sentence(forecast()) == (
        "CO₂ at high fire has fallen 0.21 points a year over 5 visits (this appliance's model: 0.08); "
        "a chance of 10 % of reaching the lower limit of 9 % by 14 March 2027."
    )


def test_a_model_that_goes_the_other_way_says_so_and_no_day_means_within_three_years() -> None:
    said = forecast_sentence(forecast(model_pace=0.03, horizon_on=None, accepted_risk=0.08))
    assert "(this appliance's model: +0.03)" in said
    assert said.endswith("a chance of less than 8 % of reaching a limit within three years.")


def test_towards_a_ceiling_it_names_the_limit_in_its_unit() -> None:
    limit = {"set_name": "Set", "label": ["co", {}], "keeps": ["at_most", {"upper": 250.0}], "unit": "ppm"}
    near = {"quantity": "co", "unit": "ppm", "lower": None, "upper": 250.0, "limit": limit}
    assert forecast_sentence(forecast(pace=31.4, model_pace=None, visits_used=1, is_due=True, **near)) == (
        "CO air-free at high fire is expected to rise 31 % a year; "
        "a chance of 10 % of being beyond 250 ppm (Set: CO ≤ 250 ppm) already."
    )


def test_a_model_that_hardly_moves_has_no_sign() -> None:
    assert "(this appliance's model: 0 %)" in forecast_sentence(forecast(quantity="co", pace=31.4, model_pace=-0.2))


@pytest.mark.parametrize(
    ("cause", "words"),
    [
        ("doubtful", "CO₂ at low fire was read 4.2 times the usual error below what was expected, a doubtful reading"),
        ("step", "CO₂ at low fire has probably changed at one go since the visit before: repeat"),
        ("far", "CO₂ at low fire was read 4.2 times the usual error below what was expected: repeat the reading."),
        ("same_side", "CO₂ at low fire was read well below what was expected at two visits running: repeat"),
    ],
)
def test_an_early_warning_asks_for_a_second_reading(cause: str, words: str) -> None:
    assert warning_words({"cause": cause, "quantity": "co2", "rate": "low", "z": -4.21}).startswith(words)
