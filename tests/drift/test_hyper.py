import numpy as np
import pytest

from fleet.drift import Hyper, Prior, assumed
from tests.drift.states import make_hyper


def test_assumed_figures_say_that_they_are_assumed():
    for quantity in ("co2", "o2"):
        hyper = assumed(quantity)
        assert hyper.basis == "from assumptions"
        assert (hyper.m, hyper.n_series) == (0.0, 0)
    with pytest.raises(ValueError, match="quantity"):
        assumed("smoke")


def test_json_brings_back_every_bit_and_betrays_a_change():
    hyper = make_hyper(m=-0.1 / 3, q=1e-7 / 3)
    assert Hyper.from_json(hyper.to_json()) == hyper
    assert Hyper.from_json(hyper.to_json()).version == hyper.version
    assert make_hyper(m=-0.1 / 3 + 1e-17).version != make_hyper().version
    with pytest.raises(ValueError, match="version"):
        Hyper.from_json(hyper.to_json().replace('"rho": 0.3', '"rho": 0.4'))


@pytest.mark.parametrize(("name", "value"), [("q", -1.0), ("s2", -1.0), ("r", 0.0), ("w2", 0.0), ("m", np.nan)])
def test_impossible_hyper_parameters_are_refused(name, value):
    with pytest.raises(ValueError, match=name):
        make_hyper(**{name: value})


def test_an_impossible_prior_is_refused():
    with pytest.raises(ValueError, match="tau0"):
        Prior(tau0=0.0)
