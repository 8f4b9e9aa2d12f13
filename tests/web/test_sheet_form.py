"""The forms ask for all that the readers know, and the comparisons tell all of it: nothing is lost unseen."""

import copy
from typing import Any

import pytest

from fleet.coded import coded, wrong
from fleet.intake import limit_sets, sheets
from fleet.presentation import contents
from fleet.web.limit_set_form import GROUPS as SET_GROUPS
from fleet.web.limit_set_form import PLAIN as SET_PLAIN
from fleet.web.limit_set_form import typed_set
from fleet.web.sheet_form import GROUPS, PLAIN, sheet_content
from fleet.web.typed import Row, Spec, Typed, asked_form, from_content, meant, shown
from tests.cast import SHEET

SHAPES = {
    "targets": sheets.TargetIn,
    "ceilings": sheets.CeilingIn,
    "adjusters": sheets.AdjusterIn,
    "order_rules": sheets.OrderRuleIn,
}
WHOLE = SHEET | {"order_rules": [{"quantity": "co2", "higher_rate": "high", "lower_rate": "low"}]}
FOLLOWS = {"unit"}  # a ceiling's unit follows from what it is of


def test_the_form_asks_for_every_field_of_a_sheet() -> None:
    assert {each.name for each in PLAIN} | set(SHAPES) == set(sheets.SheetIn.model_fields)
    for group in GROUPS:
        assert {each.name for each in group.specs} == set(SHAPES[group.name].model_fields) - FOLLOWS, group.name


@pytest.mark.parametrize("field", sorted(set(sheets.SheetIn.model_fields) - set(SHAPES)))
def test_a_comparison_of_sheets_tells_a_change_of_each_field(field: str) -> None:
    (said,) = contents.sheet_differences(SHEET | {field: "one"}, SHEET | {field: "two"})
    assert (said.before, said.after) == ("one", "two")


@pytest.mark.parametrize(
    ("group", "field"),
    [(group, field) for group, shape in SHAPES.items()
     for field in sorted(set(shape.model_fields) - set(sheets.ROW_NAMES[group]) - {"tolerance_basis"})],
)  # fmt: skip
def test_a_comparison_of_sheets_tells_a_change_of_each_field_of_a_row(group: str, field: str) -> None:
    row = WHOLE[group][0]
    then, now = ({group: [row | {field: each}]} for each in ("7", "6"))
    assert contents.sheet_differences(then, now)
    assert not contents.sheet_differences(now, copy.deepcopy(now))


@pytest.mark.parametrize("field", sorted(set(limit_sets.LimitSetIn.model_fields) - {"id"}))
def test_a_comparison_of_sets_tells_a_change_of_each_field(field: str) -> None:
    rows = {
        "limits": {"id": "a", "quantity": "co", "fires_when": {"op": ">", "value": "9"}},
        "extra_intervals": {"name": "a second one", "type": "max_months", "months": 6},
        "sources": {"document": "Rule 9", "evidence": "unverified"},
    }
    before: dict[str, Any] = {
        "interval": {"type": "none"},
        "limits": [],
        field: [] if field in rows else {"type": "none"},
    }
    after = before | {field: [rows[field]] if field in rows else {"type": "max_months", "months": 6}}
    assert contents.limit_set_differences(before, after)
    assert not contents.limit_set_differences(after, copy.deepcopy(after))


def test_a_sheet_comes_back_from_its_form_as_it_was() -> None:
    whole = copy.deepcopy(SHEET) | {"natural_draught": False, "minimum_gas_pressure_pa": "1700"}
    whole["adjusters"][0] |= {"sealed": True, "largest_step_turns": "0.25", "who": "a licensed person"}
    whole["targets"][1] = {"rate": "low", "quantity": "o2", "tolerance_basis": "range", "lower": "4", "upper": "5",
                           "casing": "open", "source_text": "4 to 5 %"}  # fmt: skip
    whole["order_rules"] = [{"quantity": "co2", "higher_rate": "high", "lower_rate": "low", "least_gap": "0.3"}]
    assert sheet_content(from_content(whole, PLAIN, GROUPS)) == whole


@pytest.mark.parametrize(
    ("kind", "text", "value"),
    [
        ("figure", "9,4", "9.4"),
        ("figure", "9.4", "9.4"),
        ("figure", "3,1,4", "3,1,4"),
        ("figure", "1,234.5", "1,234.5"),
        ("yes no", "yes", True),
        ("yes no", "perhaps", "perhaps"),
        ("list", "high, low,", ["high", "low"]),
        ("lines", "one\r\n\r\ntwo, three", ["one", "two, three"]),
        ("text", "as it is", "as it is"),
    ],
)
def test_what_a_text_means(kind: str, text: str, value: Any) -> None:
    assert meant(Spec("x", "", kind), text) == value


@pytest.mark.parametrize(
    ("kind", "value"), [("yes no", False), ("list", ["a", "b"]), ("lines", ["a", "b"]), ("figure", "9.20")]
)
def test_what_is_shown_means_what_it_was(kind: str, value: Any) -> None:
    spec = Spec("x", "", kind)
    assert meant(spec, shown(spec, value)) == value


def test_an_error_stands_beside_its_row_though_an_earlier_one_is_left_out() -> None:
    group = GROUPS[0]
    blank = dict.fromkeys((each.name for each in group.specs), "")
    rows = [Row(group.specs, blank | {"rate": "high"}, left_out=True), Row(group.specs, blank | {"rate": "low"})]
    asked = asked_form(
        Typed({}, {"targets": rows}),
        (),
        (group,),
        {"targets.0.value": wrong("decimal", "lots"), "elsewhere": coded("blank")},
    )
    assert [(each.id, each.label) for each in asked.faults] == [
        ("targets-1-value", "Target 2, Target"),
        ("", "elsewhere"),
    ]


def test_a_set_s_form_has_a_row_a_limit_and_no_blank_ones() -> None:
    content = {"evidence": "own", "sources": [], "limits": [
        {"id": "a", "quantity": "co", "fires_when": {"op": "outside", "value": [None, "9"]}, "severity": "adjust"},
        {"id": "b", "quantity": "o2", "fires_when": {"op": "missing", "value": None}, "severity": "record"},
    ]}  # fmt: skip
    _sources, group = asked_form(typed_set(content), SET_PLAIN, SET_GROUPS).groups
    assert [each.title for each in group.rows] == ["CO, at most 9", "O₂, must be on record"]
    assert [field.spec.name for field in group.rows[0].fields][:3] == ["lower", "upper", "limit_text"]
    assert next(field.spec.name for field in group.rows[1].fields) == "limit_text"
