"""Rows of the decision table, one by one: the words of the sets, the figures to keep, the reading they are for.

Words are held against fixtures/reference/limit_sets.json, which has them from the texts themselves.
"""

import json

import pytest

from fleet.limits.quantities import ANY_RATES, NOMINAL_RATES, Measure, Reading, measure_for
from fleet.limits.rows import (
    COMPARISONS,
    PHASES,
    SEVERITIES,
    STOP_RANK,
    dilution_row,
    keeps,
    left_out,
    limit_row,
    provenance,
    rank,
    rates_named,
    row,
    stop_rows,
)
from fleet.limits.sheet_rows import band_row, ceiling_row, order_row
from fleet.presentation.verdicts import keeps_words
from tests.limits.cast import FIXTURES, STOP_LEVELS, needs_words, one_limit_set, order_rule, sheet, target

REFERENCE = json.loads((FIXTURES / "reference" / "limit_sets.json").read_text())
LIMITS = [limit for entry in REFERENCE["profiles"] for limit in entry["limits"]]
SHEET_RATES = ["high", "middle", "low"]
CO_MEASURE = Measure("co_ppm")


def compiled(facts=None, rates=("high", "low"), rule="simple", **limit):
    one = one_limit_set(rule)
    return limit_row(one, one["limits"][0] | limit, facts or {}, rates)


# --- words -----------------------------------------------------------------------------------------------


def test_severities_rank_as_the_sets_list_them_and_ending_the_firing_is_a_stop():
    ranks = [rank(word) for word in REFERENCE["severities"]]
    assert ranks == sorted(ranks)
    assert len(SEVERITIES) == len(set(SEVERITIES)) == len(ranks) + 1
    assert rank("stop_work") < rank("stop_firing") < rank("shut_down")
    assert (rank("normal"), rank("evacuate")) == (0, 12)


def test_an_unknown_severity_is_named():
    with pytest.raises(ValueError, match=r"^unknown severity: 'grave'$"):
        rank("grave")


@pytest.mark.parametrize("severity", SEVERITIES)
def test_a_row_stops_from_stop_work_on(severity):
    wanted = severity in SEVERITIES[SEVERITIES.index("stop_work") :]
    made = compiled(severity=severity)
    assert (made.stop, made.rank, made.rank >= STOP_RANK) == (wanted, SEVERITIES.index(severity), wanted)


def test_the_comparisons_are_those_of_the_sets_and_each_stands_for_itself():
    named = {limit["fires_when"]["op"] for limit in LIMITS}
    assert {op: op for op in named} | {"rising_and_over": ">"} == COMPARISONS


def test_the_phases_that_the_sets_name():
    assert PHASES == {"any": None, "as_found": ["as_found"], "as_left": ["as_left"], "as_found_and_as_left": None}
    assert {limit["when"] for limit in LIMITS} == {*PHASES, "operation", "type_test"}
    assert compiled(when="operation").phases == ["operation"]
    assert compiled(when=None).phases is None


def test_every_rate_that_the_sets_name_is_read():
    named = {limit["firing_rate"] for limit in LIMITS}
    assert named == {*NOMINAL_RATES, *ANY_RATES, "low", "type test"}


@pytest.mark.parametrize("text", ANY_RATES)
@pytest.mark.parametrize("rates", [[], SHEET_RATES, ["single"]])
def test_a_source_that_means_any_rate_names_none(text, rates):
    assert rates_named(text, rates) is None


@pytest.mark.parametrize("text", NOMINAL_RATES)
def test_the_nominal_rate_is_the_sheets_first(text):
    assert rates_named(text, ["full", "low"]) == ["full"]
    assert rates_named(text, []) == ["high", "single"]


def test_low_is_the_last_of_however_many_rates_and_a_ceilings_rate_is_one_of_its_sheets():
    assert rates_named("low", ["full", "middle", "part"]) == ["part"]
    page = sheet(rates=["full", "middle", "part"])
    for word, meant in (("nominal", ["full"]), ("low", ["part"]), ("middle", ["middle"]), ("any", None)):
        made = ceiling_row(page, {"quantity": "flue_temp", "value": "200", "unit": "degC", "rate": word})
        assert (made.rates, made.rate_text) == (meant, word)


def test_other_rates_are_the_sheets_own_its_last_for_low_or_the_word_itself():
    assert rates_named("high", SHEET_RATES) == ["high"]
    assert rates_named("middle", SHEET_RATES) == ["middle"]
    assert rates_named("low", ["high", "minimum"]) == ["minimum"]
    assert rates_named("low", ["low", "minimum"]) == ["low"]
    assert rates_named("low", []) == ["low"]
    assert rates_named("middle", ["high", "low"]) == ["middle"]


# --- figures to keep -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("op", "limit", "text", "kept"),
    [
        (">", 400.0, "≤ 400", (None, 400.0, False, None)),
        (">=", 30.0, "< 30", (None, 30.0, True, None)),
        ("<", 81.5, "≥ 81.5", (81.5, None, False, None)),
        ("rising_and_over", 100.0, "not rising above 100", (None, 100.0, False, None)),
        ("outside", [9.0, 9.4], "9 to 9.4", (9.0, 9.4, False, None)),
        ("outside", [None, 9.4], "≤ 9.4", (None, 9.4, False, None)),
        ("outside", [9.0, None], "≥ 9", (9.0, None, False, None)),
        ("between", [0.004, 0.008], "< 0.004", (None, 0.004, True, 0.008)),
        ("!=", "stable", "stable", (None, None, False, None)),
        ("!=", 1.0, "1", (None, None, False, None)),
        ("outside", None, "", (None, None, False, None)),
        ("between", None, "", (None, None, True, None)),
        (">", None, "", (None, None, False, None)),
        ("missing", None, "", (None, None, False, None)),
    ],
)
def test_each_comparison_keeps_its_own_figures(op, limit, text, kept):
    assert keeps_words(keeps(op, limit)) == text
    made = row({}, Reading(None), op=op, limit=limit, quantity="co", severity="adjust")
    assert (made.lower, made.upper, made.upper_open, made.range_end) == kept
    assert (made.limit, made.keeps) == (limit, keeps(op, limit))


def test_a_range_that_asks_for_a_stop_has_no_upper_end():
    made = row({}, Reading(None), op="between", limit=[1.0, 2.0], quantity="co", severity="stop_work")
    assert (made.upper, made.range_end) == (1.0, None)
    mild = row({}, Reading(None), op="between", limit=[1.0, 2.0], quantity="co", severity="out_of_limit")
    assert (mild.upper, mild.range_end) == (1.0, 2.0)


@pytest.mark.parametrize(
    ("fires_when", "facts", "limit"),
    [
        ({"op": ">", "value": "100"}, {}, 100.0),
        ({"op": ">", "value": 100}, {}, 100.0),
        ({"op": "outside", "value": ["9.0", None]}, {}, [9.0, None]),
        ({"op": "between", "value": [1, 2]}, {}, [1.0, 2.0]),
        ({"op": "outside", "value": None}, {}, None),
        ({"op": "between", "value": None}, {}, None),
        ({"op": "missing", "value": 3}, {}, None),
        ({"op": "incomplete", "value": 3}, {}, None),
        ({"op": "!=", "value": "none"}, {}, "none"),
        ({"op": "!=", "value": None}, {}, None),
        ({"op": ">", "value": None}, {}, None),
        ({"op": "<", "value": "least_share_pct"}, {"LEAST_share_pct": "82"}, 82.0),
        ({"op": "<", "value": "least_share_pct"}, {}, None),
    ],
)
def test_the_figure_to_compare_with(fires_when, facts, limit):
    assert compiled(facts, fires_when=fires_when).limit == limit


@pytest.mark.parametrize(
    ("limit", "needs"),
    [
        ({"when": "type_test"}, "needs a type test; a reading in the field is not comparable"),
        ({"fires_when": {"op": "missing", "value": None}}, ""),
        ({"fires_when": {"op": "incomplete", "value": None}}, "needs an examination of the appliance, not a reading"),
        ({"fires_when": {"op": ">", "value": None}}, "needs a figure for this appliance: none is entered"),
        ({"fires_when": {"op": "<", "value": "least_share_pct"}}, "needs the figure for least share pct"),
        (
            {"basis": "qa", "fires_when": {"op": ">", "value": None}},
            "needs CO by the regulation's own coefficients, which no reading shows",
        ),
    ],
)
def test_a_limit_that_no_reading_can_be_held_against_says_what_it_needs(limit, needs):
    made = compiled(**limit)
    assert (made.measure, needs_words(made.needs)) == (None, needs)


# --- whole rows ------------------------------------------------------------------------------------------


def test_where_a_row_comes_from():
    source = {
        "id": 7,
        "name": "a set",
        "version": 3,
        "evidence": "own",
        "status": "reviewed",
        "reviewed_by": "a person",
    }
    assert provenance(source, kind="limit") == {
        "kind": "limit",
        "set_id": "7",
        "set_name": "a set",
        "set_version": "3",
        "evidence": "own",
        "review": "reviewed",
        "reviewed_by": "a person",
    }
    bare = {"kind": "band"} | dict.fromkeys(
        ("set_id", "set_name", "set_version", "evidence", "review", "reviewed_by"), ""
    )
    assert provenance({}, kind="band") == bare
    assert provenance({"id": "s", "status": "unreviewed", "reviewed_by": "x"}, kind="band") == bare | {
        "set_id": "s",
        "set_name": "s",
        "review": "unreviewed",
    }


def test_a_row_has_every_key_in_place():
    made = row(
        provenance({}, kind="limit"),
        measure_for("co", None, "ppm"),
        op=">",
        limit=100.0,
        quantity="co",
        severity="adjust",
    )
    assert made.as_json() == {
        **provenance({}, kind="limit"),
        "lower": None,
        "upper": 100.0,
        "upper_open": False,
        "range_end": None,
        "limit_id": "",
        "decision_rule": "simple",
        "quantity": "co",
        "label": ["co", {}],
        "unit": "",
        "basis": "",
        "rates": None,
        "rate_text": "any",
        "phases": None,
        "casing": None,
        "needs": None,
        "measure": vars(CO_MEASURE),
        "op": ">",
        "limit": 100.0,
        "target": None,
        "keeps": ["at_most", {"upper": 100.0}],
        "source_limit_text": "",
        "severity": "adjust",
        "rank": 4,
        "stop": False,
        "action": "",
        "asks": "",
        "source": "",
        "note": "",
        "applies": "yes",
        "unrecorded": [],
        "every_reading": False,
        "provable": None,
    }


def test_a_limit_of_a_set_becomes_a_row_whole():
    made = compiled(
        {"output_kw": 20}, select={"output_kW_ge": 4, "room": "cellar", "Vent_gt": 2}, source="page 4", note="n"
    )
    assert made.as_json() == {
        "kind": "limit",
        "set_id": "set-1",
        "set_name": "test set",
        "set_version": "3",
        "evidence": "official_text_read",
        "review": "reviewed",
        "reviewed_by": "a named person",
        "lower": None,
        "upper": 100.0,
        "upper_open": False,
        "range_end": None,
        "limit_id": "one",
        "decision_rule": "simple",
        "quantity": "co",
        "label": ["co", {}],
        "unit": "ppm",
        "basis": "as_measured",
        "rates": None,
        "rate_text": "any",
        "phases": None,
        "casing": None,
        "needs": None,
        "measure": vars(CO_MEASURE),
        "op": ">",
        "limit": 100.0,
        "target": None,
        "keeps": ["at_most", {"upper": 100.0}],
        "source_limit_text": "<= 100.0",
        "severity": "adjust",
        "rank": 4,
        "stop": False,
        "action": "adjust",
        "asks": "",
        "source": "page 4",
        "note": "n",
        "applies": "unclear",
        "unrecorded": ["room", "vent"],
        "every_reading": False,
        "provable": None,
    }


def test_what_a_limit_leaves_out_is_empty_in_its_row():
    one = one_limit_set()
    limit = {name: one["limits"][0][name] for name in ("id", "quantity", "severity", "fires_when")}
    made = limit_row({"id": "s", "limits": [limit], "evidence": "own"}, limit, {}, [])
    empty = ("unit", "basis", "source_limit_text", "action", "source", "note", "asks", "review", "reviewed_by")
    assert {name: getattr(made, name) for name in empty} == dict.fromkeys(empty, "")
    assert (made.rates, made.rate_text, made.phases) == (None, "any", None)
    assert (made.evidence, made.decision_rule, made.applies, made.unrecorded) == ("own", "simple", "yes", [])
    assert made.measure == CO_MEASURE


def test_a_limits_own_evidence_and_rule_go_before_its_sets():
    made = compiled(evidence="unverified", decision_rule="guarded", rule="add_uncertainty")
    assert (made.evidence, made.decision_rule) == ("unverified", "guarded")
    without = compiled(evidence=None, decision_rule=None, rule="add_uncertainty")
    assert (without.evidence, without.decision_rule) == ("official_text_read", "add_uncertainty")


@pytest.mark.parametrize(
    ("severity", "rule", "kept"),
    [
        ("stop_work", "subtract_uncertainty", "simple"),
        ("stop_work", "relaxed", "simple"),
        ("stop_work", "guarded", "guarded"),
        ("out_of_limit", "relaxed", "relaxed"),
    ],
)
def test_only_the_operators_benefit_of_the_doubt_is_taken_from_a_stop(severity, rule, kept):
    assert compiled(severity=severity, rule=rule).decision_rule == kept


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        ({"severity": "bad"}, "unknown severity: 'bad'"),
        ({"fires_when": {"op": "near", "value": 3}}, "unknown comparison: 'near'"),
        ({"decision_rule": "generous"}, "unknown decision rule: 'generous'"),
    ],
)
def test_a_word_that_a_limit_may_not_use_is_named(broken, said):
    with pytest.raises(ValueError, match=f"^{said}$"):
        compiled(**broken)


@pytest.mark.parametrize(
    ("limit", "unit", "text"),
    [
        ({"unit": "1"}, "", "≤ 100"),
        ({"unit": None}, "", "≤ 100"),
        ({"unit": "mg/m3"}, "mg/m3", "≤ 100"),
        ({"fires_when": {"op": "missing", "value": None}, "limit_text": "present"}, "", "present"),
        ({"fires_when": {"op": "incomplete", "value": None}, "limit_text": "present"}, "ppm", ""),
        ({"fires_when": {"op": "<", "value": "least_share_pct"}, "limit_text": ">= least"}, "ppm", ">= least"),
        ({"fires_when": {"op": "<", "value": None}, "limit_text": ">="}, "ppm", ""),
        ({"fires_when": {"op": "missing", "value": None}, "limit_text": None}, "", "on record"),
        ({"fires_when": {"op": "<", "value": "least_share_pct"}, "limit_text": None}, "ppm", "≥ least share pct"),
        ({"fires_when": {"op": "!=", "value": "none"}, "limit_text": "no trace"}, "ppm", "none"),
    ],
)
def test_words_stand_only_where_there_is_no_figure_and_are_the_sources_if_it_has_any(limit, unit, text):
    made = compiled(**limit)
    assert (made.unit, keeps_words(made.keeps)) == (unit, text)


def test_a_limit_that_is_not_for_this_one_is_listed_with_the_facts_that_say_so():
    one = one_limit_set(select={"fuel": ["lpg"], "output_kW_ge": 4, "Output_kW_lt": 50})
    limit, facts = one["limits"][0], {"Fuel": "natural_gas", "output_kw": 12, "room": "cellar"}
    assert limit_row(one, limit, facts, []) is None
    assert left_out(one, limit, facts) == {
        "id": "one",
        "set_id": "set-1",
        "select": {"fuel": ["lpg"], "output_kW_ge": 4, "Output_kW_lt": 50},
        "facts": {"fuel": "natural_gas", "output_kw": 12},
    }


# --- the settings sheet -----------------------------------------------------------------------------------


def row_of_the_sheet(kind, **more):
    origin = {"kind": kind, "set_id": "sheet-1", "set_name": "premix sheet", "set_version": "2"}
    return row(origin | {"evidence": "", "review": "", "reviewed_by": ""}, measure_for("co2", "dry", "vol%"), **more)


def test_a_target_becomes_a_row_whole():
    assert band_row(sheet(), target(casing="closed")) == row_of_the_sheet(
        "band", op="outside", limit=[9.0, 9.4], quantity="co2", severity="adjust",
        limit_id="co2 high closed", unit="%", basis="dry", rates=["high"], rate_text="high", casing="closed",
        target=9.2, tolerance_basis="points", asks="adjust_to_target",
    )  # fmt: skip
    plain = band_row(sheet(), {name: value for name, value in target().items() if name != "casing"})
    assert (plain.casing, plain.limit_id) == (None, "co2 high any")
    assert band_row(sheet(), target(casing="open")).casing == "open"


def test_a_target_may_be_given_by_its_ends():
    ends = {"rate": "low", "quantity": "o2", "lower": "4.5", "upper": "5.5", "tolerance_basis": "range"}
    made = band_row(sheet(), ends)
    assert (made.lower, made.upper, made.target, made.quantity) == (4.5, 5.5, None, "o2")
    assert made.measure.field == "o2_pct"


def test_an_order_becomes_a_row_whole():
    assert order_row(sheet(), order_rule(least_gap="0.2")) == row_of_the_sheet(
        "order", op="<", limit=0.2, quantity="co2", severity="adjust", limit_id="co2 high above low",
        label=["rate_gap", {"gas": "co2", "higher": "high", "lower": "low"}], unit="points", basis="dry",
        rates=["high", "low"], rate_text="", source="sheet, page 3",
        asks="restore_order",
    )  # fmt: skip
    without = order_row(sheet(), {"quantity": "o2", "higher_rate": "low", "lower_rate": "high"})
    assert (without.limit, without.source, without.rates) == (0.0, "", ["low", "high"])


@pytest.mark.parametrize(
    ("ceiling", "severity", "basis", "unit", "rates"),
    [
        ({"quantity": "co_ppm_air_free", "unit": "ppm", "basis": "dry"}, "shut_down", "air_free", "ppm", None),
        ({"quantity": "co", "unit": "ppm", "rate": "low"}, "shut_down", "as_measured", "ppm", ["low"]),
        ({"quantity": "co", "unit": "ppm", "basis": "dry_at_3_pct_o2"}, "shut_down", "dry_at_3_pct_o2", "ppm", None),
        ({"quantity": "co_co2_ratio"}, "shut_down", "as_measured", "", None),
        ({"quantity": "nox", "unit": "ppm", "rate": "any"}, "out_of_limit", "as_measured", "ppm", None),
        ({"quantity": "co", "unit": "ppm", "severity": "advise"}, "advise", "as_measured", "ppm", None),
    ],
)
def test_a_ceiling_becomes_a_row(ceiling, severity, basis, unit, rates):
    made = ceiling_row(sheet(), ceiling | {"value": "350"})
    rate = ceiling.get("rate", "any")
    wanted = {
        "kind": "ceiling", "limit_id": f"{ceiling['quantity']} {rate}", "op": ">", "limit": 350.0, "upper": 350.0,
        "quantity": ceiling["quantity"], "severity": severity, "unit": unit, "basis": basis, "rates": rates,
        "rate_text": rate, "action": "", "measure": measure_for(ceiling["quantity"], basis, unit).measure,
    }  # fmt: skip
    assert {name: getattr(made, name) for name in wanted} == wanted
    assert ceiling_row(sheet(), ceiling | {"value": 1, "action": "off"}).action == "off"


def test_a_sheet_without_rates_has_ceilings_by_the_plain_words():
    made = ceiling_row({"name": "s"}, {"quantity": "co", "value": 1, "unit": "ppm", "rate": "high"})
    assert made.rates == ["high", "single"]


@pytest.mark.parametrize(
    ("make", "broken", "said"),
    [
        (band_row, target(quantity="co"), "a target is given in co2 or o2, not 'co'"),
        (band_row, target(rate="middle"), "the rate 'middle' is not one of the sheet's rates"),
        (band_row, target(casing="half"), "casing must be open, closed or any, not 'half'"),
        (band_row, {"quantity": "co2", "rate": "high", "value": "9.2"}, "tolerance basis must be one of"),
        (order_row, order_rule(quantity="co"), "an order between rates is given in co2 or o2, not 'co'"),
        (order_row, order_rule("middle"), "the rate 'middle' is not one of the sheet's rates"),
        (order_row, order_rule(lower="middle"), "the rate 'middle' is not one of the sheet's rates"),
        (order_row, order_rule("low"), "an order needs two rates, not 'low' twice"),
        (order_row, order_rule(least_gap="-0.1"), "the least gap of an order can't be negative: -0.1"),
    ],
)
def test_a_sheet_that_cannot_be_read_says_which_word_or_figure(make, broken, said):
    with pytest.raises(ValueError, match=f"^{said}"):
        make(sheet(), broken)


def test_a_rate_is_none_of_a_sheet_that_lists_none():
    with pytest.raises(ValueError, match="is not one of the sheet's rates"):
        band_row({"name": "s"}, target())


# --- stop levels ------------------------------------------------------------------------------------------

STOPS = [
    ("co_ppm_air_free", ">", 400.0, "ppm", "air_free", True, "leave_off"),
    ("co_trend_in_test", ">", 100.0, "ppm", "as_measured", False, "leave_off"),
    ("ambient_co", ">=", 30.0, "ppm", "as_measured", False, "ventilate"),
    ("ambient_co_rise", ">=", 5.0, "ppm", "as_measured", False, "ventilate"),
    ("spillage_time", ">", 5.0, "min", "as_measured", False, "leave_off"),
    ("flame", "!=", "stable", "", "as_measured", False, "leave_off"),
]


@pytest.mark.parametrize("lines", [STOP_LEVELS, {"co_ppm_air_free": "400", "ambient_co_ppm": "30"}])
def test_the_stop_levels_are_whole_with_or_without_figures_for_the_lesser_ones(lines):
    made = stop_rows(lines)
    named = ("quantity", "op", "limit", "unit", "basis", "every_reading", "asks")
    assert [tuple(getattr(each, name) for name in named) for each in made] == STOPS
    assert {each.action for each in made} == {""}
    assert {each.limit_id for each in made} == {each.quantity for each in made}
    assert {(each.kind, each.severity, each.stop, each.decision_rule) for each in made} == {
        ("stop_level", "stop_firing", True, "simple")
    }
    assert {each.set_name for each in made} == {""}
    for each in made:
        assert each.measure == measure_for(each.quantity, each.basis, each.unit or None).measure


def test_each_stop_level_has_the_contractors_own_figure_and_words():
    own = {"co_ppm_air_free": 200, "co_rising_above_ppm": 50, "ambient_co_ppm": 20, "ambient_co_rise_ppm": 3}
    made = stop_rows({**own, "spillage_min": 2, "action": "off", "name": "own levels"})
    assert [each.limit for each in made] == [200.0, 50.0, 20.0, 3.0, 2.0, "stable"]
    assert {(each.action, each.set_name) for each in made} == {("off", "own levels")}


@pytest.mark.parametrize("name", ["co_ppm_air_free", "ambient_co_ppm"])
@pytest.mark.parametrize("figure", [None, 0, "0", "", -1, "-0.1"])
def test_a_stop_level_without_a_figure_above_zero_is_named(name, figure):
    with pytest.raises(ValueError, match=f"^there is always a stop level: {name} must be a figure above zero$"):
        stop_rows({**STOP_LEVELS, name: figure})


@pytest.mark.parametrize("name", ["co_ppm_air_free", "ambient_co_ppm"])
def test_any_figure_above_zero_is_a_stop_level(name):
    assert 0.5 in [each.limit for each in stop_rows({**STOP_LEVELS, name: 0.5})]


def test_the_row_for_a_diluted_sample_is_the_stop_level_with_raw_co_and_no_figure():
    stop_level = stop_rows(STOP_LEVELS)[0]
    said = {"quantity": "co", "label": ["co", {}], "basis": "as_measured", "keeps": None}
    assert dilution_row(stop_level) == stop_level.but(**said, action="", asks="repeat_sample")
