import numpy as np
import pytest

from fleet.drift import Limits, Panel, Prior, assumed, co_scale, crossing_probability, filter
from fleet.drift.hyper import READING_SD


def test_co_goes_on_the_logarithm_of_one_more():
    value, noise_scale = co_scale([0.0, 99.0, np.nan, -3.0], 0.0)
    np.testing.assert_allclose(value, [0.0, np.log(100.0), np.nan, np.nan])
    np.testing.assert_allclose(noise_scale, 1.0)


def test_the_analysers_absolute_error_weighs_most_near_zero():
    """Against the spread of simulated readings: 9 ppm with an error of 1 ppm beside the usual relative one."""
    rng = np.random.default_rng(1)
    read = np.expm1(np.log1p(9.0) + READING_SD["co"] * rng.standard_normal(200_000)) + rng.standard_normal(200_000)
    _, noise_scale = co_scale(9.0, 1.0)
    assert np.log1p(read).std() == pytest.approx(READING_SD["co"] * np.sqrt(noise_scale), rel=0.03)
    assert co_scale(0.0, 1.0)[1] > 10 * co_scale(100.0, 1.0)[1]


def test_a_negative_error_is_refused():
    with pytest.raises(ValueError, match="absolute_sd_ppm"):
        co_scale(10.0, -1.0)


def test_co_is_forecast_against_an_upper_limit_alone():
    """Four readings that double each year come near 150 ppm; four that stay do not."""
    chances = []
    for ppm in ([10.0, 20.0, 40.0, 80.0], [20.0, 22.0, 19.0, 21.0]):
        value, noise_scale = co_scale(ppm, 3.0)
        panel = Panel.from_records(
            "a" * 4, "g" * 4, range(4), value, [np.nan] * 4, [False] * 4, noise_scale, target=np.log1p(20.0)
        )
        hyper = assumed("co")
        chances += list(crossing_probability(filter(panel, hyper), hyper, Limits(None, np.log1p(150.0)), 1.0))
    assert chances[0] > 0.2 > 0.01 > chances[1]


def test_a_missing_as_left_reading_is_as_unsure_on_every_scale():
    spreads = [Prior.of(quantity).missing_left_sd / READING_SD[quantity] for quantity in READING_SD]
    np.testing.assert_allclose(spreads, spreads[0])
