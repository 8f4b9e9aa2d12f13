"""A settings sheet is checked when it is entered, so that nothing later has to guess."""

import copy
from typing import Any

import pytest

from fleet.errors import Malformed
from fleet.intake.limit_sets import read_limit_set
from fleet.intake.sheets import CEILING_UNITS, read_sheet
from fleet.limits.quantities import measure_for
from tests.cast import SHEET
from tests.intake.refused import said_of


def sheet(**changes: Any) -> dict[str, Any]:
    return copy.deepcopy(SHEET) | changes


def target(**changes: Any) -> dict[str, Any]:
    return sheet(targets=[SHEET["targets"][0] | changes])


def test_figures_stay_as_written() -> None:
    assert read_sheet(sheet())["targets"][0]["tolerance"] == "0.3"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        (sheet(control="magic"), "control"),
        (sheet(input_basis="both"), "input_basis"),
        (sheet(rates=["high", "high"]), "rates"),
        (sheet(fuel="coal"), "fuel"),
        (target(rate="middle"), "targets.0.rate"),
        (target(tolerance_basis="%"), "targets.0.tolerance_basis"),
        (target(tolerance=None), "targets.0.tolerance"),
        (target(casing="ajar"), "targets.0.casing"),
        (sheet(ceilings=[{"quantity": "co", "value": "9", "unit": "%", "rate": "any"}]), "ceilings.0.unit"),
        (sheet(ceilings=[{"quantity": "co", "value": "9", "unit": "ppm", "rate": "hihg"}]), "ceilings.0.rate"),
        (sheet(adjusters=[SHEET["adjusters"][0] | {"raises_co2": "left"}]), "adjusters.0.raises_co2"),
        (sheet(colour="red"), "colour"),
    ],
)
def test_what_would_have_to_be_guessed_is_refused_by_field(wrong: dict[str, Any], field: str) -> None:
    with pytest.raises(Malformed) as refused:
        read_sheet(wrong)
    assert field in said_of(refused.value)


ORDER = {"quantity": "co2", "higher_rate": "high", "lower_rate": "low"}
CEILING = SHEET["ceilings"][0]
RANGE = {"value": None, "tolerance": None, "tolerance_basis": "range"}


def ranged(**changes: Any) -> dict[str, Any]:
    """A target whose fields that are None are left out."""
    whole = target(**changes)
    whole["targets"][0] = {name: value for name, value in whole["targets"][0].items() if value is not None}
    return whole


@pytest.mark.parametrize(
    ("wrong", "field", "says"),
    [
        (target(value="13.5"), "targets.0.value", "from 13.2 to 13.8 %; CO₂ of natural_gas lies from 0 to 11.9"),
        (target(value="11.8"), "targets.0.value", "from 11.5 to 12.1 %"),
        (target(value="0.2"), "targets.0.value", "from -0.1 to 0.5 %"),
        (target(tolerance="25"), "targets.0.value", "from -15.6 to 34.4 %"),
        (target(value="60", tolerance_basis="percent_of_target"), "targets.0.value", "from 0 to 21"),
        (target(quantity="o2", value="20.8"), "targets.0.value", "O₂ of natural_gas lies from 0 to 20.95"),
        (
            ranged(tolerance_basis="range", tolerance=None, value=None, lower="9", upper="12.5"),
            "targets.0.upper",
            "from 9 to 12.5 %",
        ),
        (
            sheet(fuel="hydrogen", targets=SHEET["targets"][:1]),
            "targets.0.value",
            "CO₂ of hydrogen lies from 0 to 0.05 %",
        ),
        (sheet(rated_output_kw="400"), "rated_output_kw", "must not be above 66.5 kW"),
        (sheet(rated_output_kw="61", condensing=False), "rated_output_kw", "must not be above 60 kW"),
        (sheet(rated_output_kw="61", input_basis="gross"), "rated_output_kw", "must not be above 60 kW"),
        (sheet(ceilings=[CEILING | {"value": "20000"}]), "ceilings.0.value", "from 0 to 10000"),
        (
            sheet(adjusters=[SHEET["adjusters"][0] | {"largest_step_turns": "40"}]),
            "adjusters.0.largest_step_turns",
            "it must be from 0.001 to 5",
        ),
        (sheet(minimum_input_kw="60.1"), "minimum_input_kw", "must not be above the rated input"),
        (sheet(targets=[SHEET["targets"][0]] * 2), "targets.1.casing", "stands there already"),
        (sheet(ceilings=[CEILING] * 2), "ceilings.1.rate", "stands there already"),
        (sheet(adjusters=[SHEET["adjusters"][0]] * 2), "adjusters.1.rate", "stands there already"),
        (sheet(order_rules=[ORDER, ORDER | {"least_gap": "0.3"}]), "order_rules.1.lower_rate", "stands there already"),
        (sheet(order_rules=[ORDER | {"lower_rate": "high"}]), "order_rules.0.lower_rate", "another rate than"),
        (sheet(order_rules=[ORDER | {"lower_rate": "middle"}]), "order_rules.0.lower_rate", "the rates here are"),
        (sheet(adjusters=[SHEET["adjusters"][0] | {"rate": "any"}]), "adjusters.0.rate", "the rates here are"),
        (ranged(lower="9.1", upper="9.7"), "targets.0.lower", "only where the tolerance is a range"),
        (
            ranged(**RANGE | {"tolerance": "0.3", "lower": "9.1", "upper": "9.7"}),
            "targets.0.tolerance",
            "no tolerance besides",
        ),
        (ranged(**RANGE | {"lower": "9.7", "upper": "9.1"}), "targets.0.lower", "upper"),
        (
            ranged(**RANGE | {"value": "12", "lower": "9.1", "upper": "9.7"}),
            "targets.0.value",
            "it must lie from 9.1 to 9.7",
        ),
        (sheet(rated_input_kw="0"), "rated_input_kw", "from 0.1"),
        (sheet(rates=[]), "rates", "at least 1"),
    ],
)
def test_what_contradicts_itself_is_refused_where_it_does(wrong: dict[str, Any], field: str, says: str) -> None:
    with pytest.raises(Malformed) as refused:
        read_sheet(wrong)
    errors = said_of(refused.value)
    assert list(errors) == [field]
    assert says in errors[field]


def test_what_a_fuel_can_have_is_taken() -> None:
    for good in (
        target(value="11.0"),
        sheet(rated_output_kw="64.5"),  # condensing, on the net heating value
        target(quantity="o2", value="4.5", tolerance="1"),
    ):
        assert read_sheet(good) == good


def test_a_range_stands_alone_or_about_a_value() -> None:
    ends = {"lower": "9.1", "upper": "9.7"}
    for good in (ranged(**RANGE | ends), ranged(**RANGE | ends | {"value": "9.4"}), ranged(tolerance_basis="range")):
        assert read_sheet(good)["targets"] == good["targets"]


@pytest.mark.parametrize("rate", ["high", "any"])
@pytest.mark.parametrize(("quantity", "unit"), CEILING_UNITS.items())
def test_every_ceiling_that_is_taken_can_be_read_off_a_reading(quantity: str, unit: str, rate: str) -> None:
    content = read_sheet(sheet(ceilings=[{"quantity": quantity, "value": "0.02", "unit": unit, "rate": rate}]))
    assert measure_for(content["ceilings"][0]["quantity"], None, unit).measure is not None


def test_a_band_open_on_one_side_is_no_target() -> None:
    wrong = target(value=None, tolerance=None, tolerance_basis="range", lower="8.5")
    wrong["targets"][0] = {key: value for key, value in wrong["targets"][0].items() if value is not None}
    with pytest.raises(Malformed) as refused:
        read_sheet(wrong)
    assert "both ends" in str(said_of(refused.value))


LIMIT_SET: dict[str, Any] = {
    "name": "Contract",
    "jurisdiction": "any",
    "kind": "contract",
    "evidence": "own",
    "decision_rule": "simple",
    "interval": {"type": "max_months", "months": 6},
    "limits": [
        {"id": "a", "quantity": "co", "unit": "ppm", "basis": "air_free", "firing_rate": "any", "when": "any",
         "fires_when": {"op": ">", "value": "80"}, "severity": "out_of_limit",
         "source": "contract", "evidence": "own"}
    ],
    "sources": [{"document": "contract", "evidence": "official_text_read"}],
}  # fmt: skip


def test_a_limit_set_that_can_be_calculated_with_is_taken() -> None:
    assert read_limit_set(LIMIT_SET)["limits"][0]["fires_when"] == {"op": ">", "value": "80"}


def test_what_is_not_known_of_a_source_is_null_and_own_figures_need_none() -> None:
    assert read_limit_set(copy.deepcopy(LIMIT_SET))["sources"] == [
        {"document": "contract", "edition": None, "as_of": None, "evidence": "official_text_read"}
    ]
    assert read_limit_set(copy.deepcopy(LIMIT_SET) | {"sources": []})["sources"] == []


@pytest.mark.parametrize("as_of", ["2024", "2024-02", "2024-02-29"])
def test_the_state_of_a_source_is_a_year_a_month_or_a_day(as_of: str) -> None:
    source = {"document": "contract", "edition": None, "as_of": as_of, "evidence": "quoted_elsewhere"}
    assert read_limit_set(copy.deepcopy(LIMIT_SET) | {"sources": [source]})["sources"] == [source]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"interval": {"type": "whenever"}}, "interval.type"),
        ({"interval": {"type": "max_months", "months": 9007199254740991}}, "interval.months"),
        ({"interval": {"type": "max_months", "months": 6, "variants": "abc"}}, "interval.variants"),
        ({"interval": {"type": "max_months", "months": 6, "first": "x"}}, "interval.first"),
        ({"evidence": "sure"}, "evidence"),
        ({"sources": [], "evidence": "unverified"}, "sources"),
        ({"sources": ["contract"]}, "sources.0"),
        ({"sources": [{"document": "contract", "evidence": "own"}]}, "sources.0.evidence"),
        ({"sources": [{"document": "contract", "evidence": "unverified", "as_of": "2024-13"}]}, "sources.0.as_of"),
        ({"interval": {"type": "max_months", "months": 6, "evidence": "memory"}}, "interval.evidence"),
        ({"limits": [LIMIT_SET["limits"][0] | {"severity": "dreadful"}]}, "limits.0.severity"),
    ],
)
def test_a_limit_set_that_cannot_is_refused(change: dict[str, Any], field: str) -> None:
    with pytest.raises(Malformed) as refused:
        read_limit_set(copy.deepcopy(LIMIT_SET) | change)
    assert field in said_of(refused.value)
