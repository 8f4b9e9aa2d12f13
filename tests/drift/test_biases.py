import numpy as np
import pytest

from fleet.drift import Panel, Prior, biases, fit
from tests.drift.simulate import FleetLaw, simulate
from tests.drift.states import make_hyper

OFF = (0.2, -0.1, 0.0, 0.0, 0.05, 0.0)
LAW = FleetLaw(
    n_units=600, n_groups=6, min_visits=6, max_visits=8, units_per_site=3, site_day_sd=0.1, analyser_biases=OFF
)


@pytest.fixture(scope="module")
def fleet():
    return simulate(LAW, 3)


@pytest.fixture(scope="module")
def found(fleet):
    panel = fleet.panel()
    hyper = fit(panel, Prior.of("co2"), robust=False, mixture=False)
    return biases(panel, hyper, fleet.analyser_of, fleet.site_day_of)


def centred(values):
    return np.asarray(values) - np.mean(values)


def test_each_analysers_bias_is_found_but_for_what_all_share(found):
    """Within .04 vol %: some 700 readings each, whose forecasts err by .2."""
    told = [found.analyser.of(f"analyser-{n:03d}") for n in range(len(OFF))]
    np.testing.assert_allclose(centred(told), centred(OFF), atol=0.04)


def test_what_is_taken_off_is_mostly_the_error_that_was_there(fleet, found):
    """Analyser and day together: less is left than half of the variance that was in the readings."""
    true = fleet.common_error
    left = true - found.u
    assert left.var() < 0.5 * true.var()
    assert found.hyper.r < 1.2 * LAW.reading_sd**2


def test_the_panel_given_back_is_the_one_without_the_errors(fleet, found):
    panel = fleet.panel()
    taken = (panel.as_found - found.panel.as_found).ravel()[panel.visit_of]
    np.testing.assert_allclose(taken, found.u, atol=1e-12)
    left = (panel.as_left - found.panel.as_left).ravel()[panel.visit_of]
    np.testing.assert_allclose(left[fleet.adjusted], found.u[fleet.adjusted], atol=1e-12)


def test_analysers_that_are_off_raise_the_alarm_by_name(found):
    """Certainly the one that is off by .2; of those that are right, none."""
    alarmed = {name for name, alarm in zip(found.checks.analysers, found.checks.alarm, strict=True) if alarm}
    right = {f"analyser-{n:03d}" for n, off in enumerate(OFF) if not off}
    assert "analyser-000" in alarmed
    assert not alarmed & right
    assert (found.checks.n == 50).all()
    np.testing.assert_allclose(found.checks.score, found.checks.mean_z * np.sqrt(50))


def test_an_analyser_that_went_off_is_told_by_its_quarters():
    """One of four is off by .3 from the fourth year on."""
    law = FleetLaw(n_units=400, n_groups=4, min_visits=7, max_visits=7, analyser_biases=(0.0,) * 4)
    fleet = simulate(law, 8)
    off = (fleet.analyser == 2) & (fleet.t_years > 4.0)
    raised = {name: np.asarray(fleet.records[name]) + 0.3 * off for name in ("as_found", "as_left")}
    panel = Panel.from_records(**fleet.records | raised)
    hyper = make_hyper(m=law.drift_mean, s2=law.drift_sd**2 + law.group_drift_sd**2, rho=law.rho, w2=law.w2)
    found = biases(panel, hyper, fleet.analyser_of, [None] * fleet.unit.size, passes=2)
    early, late = fleet.t_years < 3.5, fleet.t_years > 4.5
    assert found.u[(fleet.analyser == 2) & late].mean() == pytest.approx(0.3, abs=0.1)
    assert abs(found.u[(fleet.analyser == 2) & early].mean()) < 0.1
    assert found.checks.alarm.tolist() == [name == "analyser-002" for name in found.checks.analysers]


def test_where_nothing_is_shared_next_to_nothing_is_taken_off():
    law = FleetLaw(n_units=300, units_per_site=3, analyser_biases=(0.0,) * 5)
    fleet = simulate(law, 4)
    panel = fleet.panel()
    found = biases(panel, fit(panel, Prior.of("co2")), fleet.analyser_of, fleet.site_day_of)
    assert found.u.std() < 0.25 * law.reading_sd
    assert not found.checks.alarm.any()


def test_a_day_with_one_reading_is_left_alone():
    fleet = simulate(FleetLaw(n_units=60), 5)
    panel = fleet.panel()
    labels = [f"{unit} {time}" for unit, time in zip(fleet.unit, fleet.t_years, strict=True)]
    found = biases(panel, make_hyper(), ["one"] * fleet.unit.size, labels, passes=1)
    assert not found.site_day.bias.any()


def test_unknown_labels_and_records_before_a_first_level_are_no_obstacle():
    panel = Panel.from_records(
        "aaab", "gggg", [0.0, 1.0, 2.0, 0.0], [np.nan, 9.0, 8.9, 9.1], [np.nan] * 4, [0] * 4, target=9.0
    )
    found = biases(panel, make_hyper(), [None, "x", "x", None], [None] * 4)
    assert found.u[[0, 3]].tolist() == [0.0, 0.0]
    assert np.isfinite(found.u).all()
    assert found.analyser.of("y") == 0.0


def test_labels_that_do_not_fit_the_records_are_refused():
    panel = simulate(FleetLaw(n_units=5), 1).panel()
    with pytest.raises(ValueError, match="labels"):
        biases(panel, make_hyper(), ["x"], ["x"])
    with pytest.raises(ValueError, match="labels"):
        biases(panel.take([0]), make_hyper(), ["x"], ["x"])
    n = panel.visit_of.size
    with pytest.raises(ValueError, match="site_day_of"):
        biases(panel, make_hyper(), ["x"] * n, ["x"])
    with pytest.raises(ValueError, match="passes"):
        biases(panel, make_hyper(), ["x"] * n, ["x"] * n, passes=0)
