import numpy as np
import pytest

from fleet.drift.passage import survival_between
from tests.drift.simulate import FleetLaw, World, simulate


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
    for sample, sd in ((reading_error, law.reading_sd), (left_error, law.reading_sd), (setting, law.setting_sd)):
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
    "change",
    [{"min_visits": 0}, {"min_visits": 9}, {"n_units": 0}, {"jitter": 1.0}, {"reading_sd": 0.0}, {"outlier_share": 2}],
)
def test_an_impossible_law_is_refused(change):
    with pytest.raises(ValueError, match=r"min_visits|n_units|jitter|outlier_share"):
        FleetLaw(**change)


# ---- outside the model's own law ----


def test_bad_readings_come_at_their_share_and_are_told_by_the_truth():
    law = FleetLaw(n_units=2000, outlier_share=0.05)
    fleet = simulate(law, 8)
    assert fleet.outlier.mean() == pytest.approx(0.05, abs=4 * np.sqrt(0.05 / fleet.unit.size))
    off = np.abs(fleet.as_found - fleet.level_found)
    assert np.quantile(off[fleet.outlier], 0.05) > 0.7
    assert off[~fleet.outlier].max() < 0.7


def test_faulty_units_drift_wide():
    fleet = simulate(FleetLaw(n_units=4000, faulty_share=0.2, group_drift_sd=0.0), 9)
    faulty = fleet.world.faulty
    assert faulty.mean() == pytest.approx(0.2, abs=0.03)
    middle = [np.diff(np.quantile(fleet.drift[which], [0.25, 0.75]))[0] for which in (faulty, ~faulty)]
    assert middle[0] / middle[1] == pytest.approx(
        4 * 0.7649 / 0.6745, rel=0.15
    )  # upper quartiles of Student t with 3 degrees and normal


def test_sizes_of_groups_follow_zipfs_law():
    fleet = simulate(FleetLaw(n_units=5000, n_groups=10, group_exponent=1.0), 1)
    size = np.bincount(fleet.group_of)
    np.testing.assert_allclose(size, 5000 / np.arange(1, 11) / (1 / np.arange(1, 11)).sum(), rtol=0.02)


def test_seasons_analysers_and_days_are_in_the_readings_but_not_in_the_level():
    law = FleetLaw(
        n_units=900,
        units_per_site=3,
        season_amplitude=0.3,
        analyser_biases=(0.5, -0.5),
        site_day_sd=0.2,
        reading_sd=0.01,
    )
    fleet = simulate(law, 2)
    error = fleet.as_found - fleet.level_found
    np.testing.assert_allclose(error, fleet.common_error, atol=0.06)
    wave = 0.3 * np.cos(2 * np.pi * fleet.t_years) + np.where(fleet.analyser == 0, 0.5, -0.5)
    day = fleet.common_error - wave
    assert day.std() == pytest.approx(0.2, rel=0.1)
    labels = np.array(fleet.site_day_of)
    for label in labels[:5]:
        assert np.ptp(day[labels == label]) < 1e-12
    assert (np.unique(labels, return_counts=True)[1] <= 3).all()


def test_without_a_drift_steps_move_the_level_by_their_law():
    law = FleetLaw(n_units=4000, steps_per_year=0.5, step_sd=0.6, diffusion_sd=0.0, drift_sd=0.0, group_drift_sd=0.0)
    world = World(law, 3)
    before = world.level
    world.wait(2.0)
    moved = world.level - before - 2.0 * law.drift_mean
    assert (np.abs(moved) > 1e-9).mean() == pytest.approx(1 - np.exp(-1.0), abs=0.03)
    assert moved.var() == pytest.approx(2.0 * 0.5 * 0.36, rel=0.15)


def test_the_truth_of_leaving_is_the_law_of_first_passage():
    """From the middle, with the same drift and wandering for all: against the images; however few the steps."""
    law = FleetLaw(n_units=20_000, start_sd=0.0, drift_sd=0.0, group_drift_sd=0.0, drift_mean=0.2, diffusion_sd=0.3)
    one = np.ones(1)
    leaves = 1 - survival_between(0.5 * one, one, 0.2 * one, 0.0 * one, 0.09 * one, one)[0]
    for steps in (20, 100):
        told = World(law, 4).wait(1.0, steps).left.mean()
        assert told == pytest.approx(leaves, abs=4 * np.sqrt(leaves / 20_000))


def test_the_time_spent_outside_is_counted():
    """Drifting up at 1 a year from the target, the tolerance of .5 is passed half-way through the year."""
    still = {"start_sd": 0.0, "drift_sd": 0.0, "group_drift_sd": 0.0, "diffusion_sd": 0.0}
    stretch = World(FleetLaw(n_units=3, drift_mean=1.0, **still), 1).wait(np.array([0.4, 1.0, 2.0]), 400)
    np.testing.assert_allclose(stretch.outside_years, [0.0, 0.5, 1.5], atol=0.01)
    assert stretch.left.tolist() == [False, True, True]


def test_only_chosen_units_are_visited_and_only_they_change():
    world = World(FleetLaw(n_units=50), 2)
    world.wait(3.0)
    before, chosen = world.level, np.arange(50) < 20
    visits = world.visit(chosen)
    assert np.isfinite(visits.found[chosen]).all() and np.isnan(visits.found[~chosen]).all()
    assert visits.adjusted[chosen].any() and not visits.adjusted[~chosen].any()
    np.testing.assert_array_equal(world.level[~visits.adjusted], before[~visits.adjusted])


def test_the_truth_after_the_last_visit_can_be_asked_twice():
    fleet = simulate(FleetLaw(n_units=800), 6)
    np.testing.assert_array_equal(fleet.leaves_within(1.0), fleet.leaves_within(1.0))
    last = np.append(np.flatnonzero(np.diff(fleet.unit)), fleet.unit.size - 1)
    np.testing.assert_array_equal(fleet.world.level, fleet.level_left[last])
    np.testing.assert_array_equal(fleet.world.t_years, fleet.t_years[last])
    assert fleet.leaves_within(0.25).mean() < fleet.leaves_within(1.0).mean() < fleet.leaves_within(3.0).mean()
