from dataclasses import replace

import numpy as np
import pytest

from fleet.drift import Group, Prior
from fleet.drift.adjoint import loglik_and_slope
from fleet.drift.draft import Draft, Sample, numbered
from fleet.drift.fitting import loss_and_slope
from fleet.drift.recursion import components, law_of, visits_of
from tests.drift.states import loglik, make_full_hyper, make_hyper
from tests.drift.test_model import random_panel


def slope_by_differences(function, at, step):
    """Central differences of fourth order."""
    near, far = (function(at + k * step) - function(at - k * step) for k in (1, 2))
    return (8.0 * near - far) / (12.0 * step)


LAWS = {
    "plain": make_hyper(),
    "fast units": make_hyper(pi=0.1),
    "outliers": make_full_hyper(lam=0.0),
    "steps": make_full_hyper(e_o=0.0, pi=0.0),
    "full": make_full_hyper(om2=0.0),
}


@pytest.mark.parametrize("hyper", LAWS.values(), ids=LAWS.keys())
def test_the_backward_pass_agrees_with_finite_differences(hyper):
    """With missing readings, adjustments and new parts; to 1e-6 of each slope."""
    panel = random_panel(1, n_units=30)
    told, slope = loglik_and_slope(visits_of(panel), law_of(hyper, panel.group_ids))
    assert told.sum() == pytest.approx(loglik(panel, hyper), abs=1e-9)
    kappa, _ = components(hyper)
    sums = {name: getattr(slope, name).sum() for name in ("m", "q", "r", "rho", "w2")}
    for name, found in (sums | {"s2": (kappa**2 * slope.s2).sum()}).items():
        at = getattr(hyper, name)
        expected = slope_by_differences(lambda v, n=name: loglik(panel, replace(hyper, **{n: v})), at, 1e-4 * abs(at))
        assert found == pytest.approx(expected, rel=1e-6), name


def test_the_loss_of_a_fit_has_the_slope_it_says():
    panel = random_panel(2, n_units=30)
    names, group_of = numbered(panel.group_ids, panel.scored)
    groups = {"0": Group(0.1, 0.02, 0.005, 0.001), "1": Group(-0.1, 0.01, 0.02, 0.003)}
    draft = Draft.begin(Prior.of("co2"), names, make_full_hyper(groups=groups), True, True)
    sample = Sample.of(panel, panel.scored, group_of)
    at = np.array([-0.4, 0.3, -0.2, 0.1, 0.4, -1.0, -2.5])
    _, found = loss_and_slope(at, draft, sample, 30)
    for n in range(at.size):
        unit = np.eye(at.size)[n]
        expected = slope_by_differences(lambda v, e=unit: loss_and_slope(at + v * e, draft, sample, 30)[0], 0.0, 1e-3)
        assert found[n] == pytest.approx(expected, rel=1e-6)
