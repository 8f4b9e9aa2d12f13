import numpy as np
import pytest

from fleet.drift import FleetLaw, simulate


def test_the_same_seed_gives_the_same_fleet():
    one, again, other = simulate(FleetLaw(), 1), simulate(FleetLaw(), 1), simulate(FleetLaw(), 2)
    np.testing.assert_array_equal(one.as_found, again.as_found)
    assert one.as_found.size != other.as_found.size or (one.as_found != other.as_found).any()


def test_records_make_the_panel_that_the_law_describes():
    law = FleetLaw(n_units=30, n_groups=4, min_visits=2, max_visits=6, jitter=0.2)
    fleet = simulate(law, 3)
    panel = fleet.panel()
    assert panel.n_units == 30
    assert len(set(panel.group_ids)) == 4
    visits = np.isfinite(panel.t_years).sum(axis=0)
    assert visits.min() >= 2 and visits.max() <= 6
    gaps = panel.dt_years[panel.dt_years > 0]
    assert gaps.min() >= 0.8 and gaps.max() <= 1.2


def test_readings_err_and_settings_scatter_as_the_law_says():
    """Standard deviations within 4 of their errors, sd / sqrt(2 n)."""
    law = FleetLaw(n_units=3000, adjust_beyond=0.1)
    fleet = simulate(law, 4)
    reading_error = fleet.as_found - fleet.level_found
    setting = (fleet.level_left - law.target)[fleet.adjusted]
    left_error = (fleet.as_left - fleet.level_left)[fleet.adjusted]
    for sample, sd in (
        (reading_error, law.reading_sd),
        (left_error, law.reading_sd),
        (setting, law.setting_sd),
    ):
        assert sample.std() == pytest.approx(sd, abs=4 * sd / np.sqrt(2 * sample.size))


def test_the_reset_law_is_the_regression_of_level_on_as_left_reading():
    law = FleetLaw(n_units=4000, adjust_beyond=0.05)
    fleet = simulate(law, 5)
    level = (fleet.level_left - law.target)[fleet.adjusted]
    reading = (fleet.as_left - law.target)[fleet.adjusted]
    slope = (level * reading).mean() / (reading**2).mean()
    assert slope == pytest.approx(law.rho, abs=4 * np.sqrt(law.w2 / (reading**2).sum()))
    rest = level - slope * reading
    assert rest.var() == pytest.approx(law.w2, rel=4 * np.sqrt(2 / rest.size))


def test_only_far_readings_are_adjusted_and_untouched_units_stay_where_they_were():
    fleet = simulate(FleetLaw(), 6)
    assert (np.abs(fleet.as_found - 9.0)[fleet.adjusted] > 0.25).all()
    np.testing.assert_array_equal(fleet.level_left[~fleet.adjusted], fleet.level_found[~fleet.adjusted])
    assert np.isnan(fleet.as_left[~fleet.adjusted]).all()


def test_readings_go_missing_but_never_at_the_first_visit():
    panel = simulate(FleetLaw(n_units=500, missing_chance=0.3), 7).panel()
    assert np.isfinite(panel.as_found[0]).all()
    later = np.isfinite(panel.t_years[1:])
    share = np.isnan(panel.as_found[1:])[later].mean()
    assert share == pytest.approx(0.3, abs=4 * np.sqrt(0.21 / later.sum()))


@pytest.mark.parametrize(
    "change", [{"min_visits": 0}, {"min_visits": 9}, {"n_units": 0}, {"jitter": 1.0}, {"reading_sd": 0.0}]
)
def test_an_impossible_law_is_refused(change):
    with pytest.raises(ValueError, match=r"min_visits|n_units|jitter"):
        FleetLaw(**change)
