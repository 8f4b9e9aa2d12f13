"""The forms ask for all that the readers know, and the comparisons tell all of it: nothing is lost unseen."""

import copy
from typing import Any

import pytest

from fleet.coded import wrong
from fleet.intake import limit_sets, sheets
from fleet.presentation import contents
from fleet.web.limit_set_form import LimitSetForm
from fleet.web.sheets import SheetForm
from tests.cast import SHEET
from tests.web.test_shape_forms import as_sent, posted

SHAPES = {
    "targets": sheets.TargetIn,
    "ceilings": sheets.CeilingIn,
    "adjusters": sheets.AdjusterIn,
    "order_rules": sheets.OrderRuleIn,
}
WHOLE = SHEET | {"order_rules": [{"quantity": "co2", "higher_rate": "high", "lower_rate": "low"}]}
FOLLOWS = {"unit"}  # a ceiling's unit follows from what it is of


def test_the_form_asks_for_every_field_of_a_sheet() -> None:
    assert {*SheetForm.base_fields} | set(SHAPES) == set(sheets.SheetIn.model_fields)
    for name, part in SheetForm.part_classes.items():
        assert {*part.form.base_fields} == set(SHAPES[name].model_fields) - FOLLOWS, name


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
    assert SheetForm(as_sent(SheetForm(initial=whole))).content() == whole


def test_a_ceiling_of_nothing_known_is_refused_for_that_alone() -> None:
    form = SheetForm(posted(ceilings__TOTAL_FORMS="1", ceilings__0__value="9"))
    assert form.content() == {"targets": [], "ceilings": [{"value": "9", "unit": "1"}]}


LIMITS: list[dict[str, Any]] = [
    {"id": "a", "quantity": "co", "fires_when": {"op": "outside", "value": [None, "9"]}, "severity": "adjust"},
    {"id": "b", "quantity": "o2", "fires_when": {"op": "missing", "value": None}, "severity": "record"},
    {"id": "c", "quantity": "co", "fires_when": {"op": ">", "value": "rated_co"}, "severity": "adjust", "note": ""},
    {"id": "d", "quantity": "co", "fires_when": {"op": "between", "value": ["1", "2"]}, "severity": "adjust"},
    {"id": "e", "quantity": "co", "fires_when": {"op": ">", "value": "9"}, "severity": "adjust", "note": "n"},
]
SET: dict[str, Any] = {"id": "s", "evidence": "own", "sources": [], "limits": LIMITS}


def changed(**typed: str) -> Any:
    """The set's form with something else typed in it."""
    sent = as_sent(LimitSetForm(initial=SET))
    sent.update({name.replace("__", "-"): value for name, value in typed.items()})
    return LimitSetForm(sent, initial=SET)


def test_a_set_s_form_has_a_row_a_limit_and_no_blank_ones() -> None:
    sources, limits = LimitSetForm(initial=SET).parts.values()
    assert [row.title for row in sources.forms] == ["Source 1", "Source 2"]
    assert [row.title for row in limits.forms[:2]] == ["CO, at most 9", "O₂, must be on record"]
    assert [list(row.fields)[:3] for row in limits.forms[:2]] == [
        ["lower", "upper", "limit_text"], ["limit_text", "severity", "action"],
    ]  # fmt: skip


def test_a_set_comes_back_from_its_form_as_it_was_and_what_is_emptied_is_gone() -> None:
    assert changed().content() == SET
    assert changed(limits__TOTAL_FORMS="0").content() == SET
    emptied = changed(limits__0__upper="", limits__4__note="", limits__4__value="8,5").content()["limits"]
    assert emptied[0]["fires_when"]["value"] is None
    assert (emptied[4]["fires_when"]["value"], "note" in emptied[4]) == ("8.5", False)
    assert (SET["limits"][4]["fires_when"]["value"], SET["limits"][4]["note"]) == ("9", "n")


@pytest.mark.parametrize(
    ("typed", "at"),
    [
        ({"limits__0__upper": "much"}, "limits-0-upper"),
        ({"limits__3__lower": "1,0,0"}, "limits-3-lower"),
        ({"limits__4__value": "much"}, "limits-4-value"),
        ({"limits__3__upper": ""}, "limits-3-lower"),
    ],
)
def test_a_figure_that_is_none_is_refused_at_its_own_field(typed: dict[str, str], at: str) -> None:
    form = changed(**typed)
    form.content()
    form.refuse({f"limits.{at[7]}.fires_when.value": wrong("both_figures", [None])})
    assert [each.id for each in form.faults] == [at]
    ((name, text),) = typed.items()
    assert form.parts["limits"].forms[int(at[7])][name.split("__")[2]].value() == text


@pytest.mark.parametrize(
    ("typed", "at"),
    [
        ({"limits__4__value": ""}, ["limits-4-value"]),
        ({"limits__0__upper": ""}, ["limits-0-upper"]),
        ({"limits__2__value": " "}, ["limits-2-value"]),
        ({"limits__3__lower": "", "limits__3__upper": ""}, ["limits-3-lower", "limits-3-upper"]),
        ({"limits__4__note": ""}, []),
        ({"limits__0__lower": "3", "limits__0__upper": ""}, []),
    ],
)
def test_a_figure_that_stood_is_never_emptied_by_a_slip(typed: dict[str, str], at: list[str]) -> None:
    form = changed(**typed)
    form.content()
    assert [each.id for each in form.faults] == at


def test_a_fact_that_holds_the_figure_may_be_another_fact() -> None:
    form = changed(limits__2__value="other_co")
    assert form.content()["limits"][2]["fires_when"]["value"] == "other_co"
    assert not form.faults
