import json

import numpy as np
import pytest

from fleet.drift import Group, Hyper, Prior, assumed
from fleet.drift.hyper import READING_SD
from tests.drift.states import make_full_hyper, make_hyper

WRITTEN_BEFORE_GROUPS = (
    '{"basis": "from assumptions", "m": 0.0, "n_series": 0, "prior": {"log_bound": 7.0, "log_q_sd": 3.0, '
    '"log_r_sd": 0.6, "log_s2_sd": 3.0, "log_w2_sd": 1.5, "missing_left_sd": 0.25, "rho_max": 1.2, '
    '"rho_mean": 1.0, "rho_sd": 0.5, "tau0": 0.12}, "q": 0.0144, "r": 0.0144, "rho": 1.0, "s2": 0.0144, '
    '"version": "a2ff9d0266823a7d", "w2": 0.0144}'
)
"""A snapshot as stored before there were fast units, outliers, steps and groups."""


@pytest.mark.parametrize("quantity", READING_SD)
def test_assumed_figures_say_that_they_are_assumed(quantity):
    hyper = assumed(quantity)
    assert hyper.basis == "from assumptions"
    assert (hyper.m, hyper.n_series, hyper.groups) == (0.0, 0, {})
    assert hyper.r == READING_SD[quantity] ** 2


def test_an_unknown_quantity_has_no_prior():
    with pytest.raises(ValueError, match="quantity"):
        assumed("smoke")


@pytest.mark.parametrize(
    "hyper", [make_hyper(m=-0.1 / 3, q=1e-7 / 3), make_full_hyper(groups={"b": Group(0.1 / 3, 1e-7 / 3, 0.2, 0.0)})]
)
def test_json_brings_back_every_bit(hyper):
    again = Hyper.from_json(hyper.to_json())
    assert again == hyper
    assert again.version == hyper.version


def test_a_changed_figure_is_betrayed_and_changes_the_version():
    hyper = make_full_hyper(groups={"a": Group(0.1, 0.02, 0.03, 0.004)})
    with pytest.raises(ValueError, match="version"):
        Hyper.from_json(hyper.to_json().replace('"rho": 0.3', '"rho": 0.4'))
    with pytest.raises(ValueError, match="version"):
        Hyper.from_json(hyper.to_json().replace("0.004", "0.005"))
    versions = {make_hyper(**change).version for change in ({}, {"m": 0.1}, {"pi": 0.1}, {"lam": 0.1}, {"om2": 0.1})}
    assert len(versions) == 5


def test_a_snapshot_written_before_the_newer_fields_is_read_with_plain_defaults():
    hyper = Hyper.from_json(WRITTEN_BEFORE_GROUPS)
    assert (hyper.pi, hyper.e_o, hyper.lam, hyper.om2, hyper.groups) == (0.0, 0.0, 0.0, 0.0, {})
    assert hyper.prior == Prior.of("co2")
    assert hyper.version == json.loads(WRITTEN_BEFORE_GROUPS)["version"]
    assert json.loads(hyper.to_json()) == json.loads(WRITTEN_BEFORE_GROUPS)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("q", -1.0),
        ("s2", -1.0),
        ("r", 0.0),
        ("w2", 0.0),
        ("m", np.nan),
        ("pi", 1.0),
        ("e_o", -0.1),
        ("lam", np.inf),
        ("groups", {"a": Group(0.0, -1.0, 0.0, 0.0)}),
        ("groups", {7: Group(0.0, 1.0, 0.0, 0.0)}),
    ],
)
def test_impossible_hyper_parameters_are_refused(name, value):
    with pytest.raises(ValueError, match=name):
        make_hyper(**{name: value})


def test_an_impossible_prior_is_refused():
    with pytest.raises(ValueError, match="tau0"):
        Prior(tau0=0.0)
    with pytest.raises(ValueError, match="pi_mean"):
        Prior(tau0=0.1, pi_mean=1.0)
