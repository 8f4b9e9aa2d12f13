"""The strictest limit, on the scale on which a quantity drifts."""

from dataclasses import replace
from typing import Any

import pytest

from fleet.assess.foresight.ceilings import ceiling_of
from fleet.limits import Row
from fleet.limits.quantities import Measure
from fleet.models.judgements import Derived
from tests.limits.cast import make_card


def row(field: str, upper: float, measure: dict[str, Any] | None = None) -> Row:
    told = {"upper": upper, "op": ">", "severity": "adjust", "measure": Measure(field, **(measure or {}))}
    return Row(told | {"set_name": "Set", "label": ["co", {}], "keeps": ["at_most", {"upper": upper}], "unit": "ppm"})


def upper_of(quantity: str, *rows: Row) -> float | None:
    card = replace(make_card(), ceilings=[], stop_levels=[], limits=rows)
    read = Derived({"o2_pct": 5.0, "co2_pct": 9.0, "dilution_factor": 20.9 / 15.9, "flue_loss_pct": 6.0})
    found = ceiling_of(card, "high", quantity, read, rise_k=120.0)
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
def test_a_co_limit_on_any_basis_is_carried_over_at_the_o2_and_co2_read(limit: Row, upper: float) -> None:
    assert upper_of("co", limit) == pytest.approx(upper)


def test_a_temperature_counts_from_the_reference_air_and_a_loss_goes_with_the_rise() -> None:
    assert upper_of("temp_rise", row("flue_temp_c", 200.0)) == pytest.approx(180.0)
    assert upper_of("temp_rise", row("flue_loss_pct", 9.0)) == pytest.approx(180.0)


@pytest.mark.parametrize(
    "change",
    [{"phases": ["as_left"]}, {"applies": "unclear"}, {"rates": ["low"]}, {"severity": "record"}, {"op": "<"}],
    ids=str,
)
def test_a_limit_that_may_not_apply_to_what_is_found_is_left_out(change: dict[str, Any]) -> None:
    assert upper_of("co", row("co_ppm", 100.0).but(**change)) is None


def test_the_strictest_counts() -> None:
    rows = [row("co_ppm", each, measure=AIR_FREE) for each in (400.0, 200.0, 300.0)]
    assert upper_of("co", *rows) == pytest.approx(200.0)
